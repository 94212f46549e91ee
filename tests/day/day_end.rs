//! Goal: the day as HTML is what a mail program shows as it stands. Method: the played day's file
//! is read tag by tag: nothing a mail program drops or fetches, and no text without its own style.

use crate::report::Day;

/// The start tags of a page, each as it stands.
fn tags(html: &str) -> impl Iterator<Item = &str> {
    html.split('<').skip(1).filter_map(|rest| rest.split('>').next())
}

#[test]
fn the_day_as_html_is_fit_for_mail() {
    let day = Day::played();
    let command = ["day-end", "--day", "2026-05-14"];
    for language in ["english", "french"] {
        let name = format!("{language}.html");
        let file = day.file(&command, &name, &["--language", language]);
        let html = std::fs::read_to_string(file).unwrap();
        for dropped in ["<style", "<script", "<link", "<svg", "<img", "class=", "http:", "https:"] {
            assert!(!html.contains(dropped), "{language}: {dropped}");
        }
        let own = ["body", "table", "td", "p", "h1", "h2"];
        let named = |tag: &&str| own.contains(&tag.split(' ').next().unwrap_or_default());
        let styled = tags(&html).filter(named).collect::<Vec<_>>();
        assert!(styled.len() > 30, "{} elements", styled.len());
        for tag in styled {
            assert!(tag.contains("style=\""), "{language}: <{tag}> has no style of its own");
        }
        // Wider than a phone is nothing: the one width that is set is a most.
        assert!(!html.contains("min-width") && html.contains("max-width:640px"));
        assert!(html.contains("Owl Knob") && html.contains("Larkspur Radio Works"));
    }
}
