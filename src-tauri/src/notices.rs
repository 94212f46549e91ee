//! A notice from the platform that something came in while nobody was looking at the window.
//!
//! In: a line of text in the screens' language. Out: whether it was given. None is given to who has
//! the window before them, nor more than one a minute; each takes the place of the one before. A
//! notice says that something came, and never what anybody wrote.

use std::sync::{Mutex, PoisonError};
use std::time::{Duration, Instant};

use guyline_hub::desk::{Code, Refusal};
use notify_rust::{Notification, NotificationHandle};
use serde::Deserialize;
use tauri::{Manager as _, WebviewWindow};

/// Between two notices: a crew that merges all day is not to be called all day.
const REST: Duration = Duration::from_secs(60);
/// A notice is a line.
const CHARACTERS_MAX: usize = 200;

/// What to say.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct GiveNotice {
    text: String,
}

/// The last notice. Some platforms take a notice away when who gave it lets go of it.
#[derive(Default)]
pub(crate) struct LastNotice(Mutex<Option<(Instant, Option<NotificationHandle>)>>);

impl LastNotice {
    /// Whether another one may be given, which from then on is the last.
    fn may_follow(&self, now: Instant) -> bool {
        let mut last = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        let rested = last.as_ref().is_none_or(|(at, _)| now.duration_since(*at) >= REST);
        if rested {
            *last = Some((now, None));
        }
        rested
    }

    fn hold(&self, handle: NotificationHandle) {
        let mut last = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some((_, held)) = last.as_mut() {
            *held = Some(handle);
        }
    }
}

/// Gives a notice, unless the window is looked at or one was given a moment ago.
pub(crate) async fn give(window: &WebviewWindow, asked: GiveNotice) -> Result<bool, Refusal> {
    // Where the platform does not say, the page has looked: it asks only when it is not in focus.
    if window.is_focused().unwrap_or(false) {
        return Ok(false);
    }
    let last = window.state::<LastNotice>();
    if !last.may_follow(Instant::now()) {
        return Ok(false);
    }
    let name = window.package_info().name.clone();
    let text: String = asked.text.chars().take(CHARACTERS_MAX).collect();
    let shown = tauri::async_runtime::spawn_blocking(move || {
        Notification::new().appname(&name).summary(&name).body(&text).show()
    });
    let told = |why: String| {
        let what = format!("this device shows no notices: {why}");
        Refusal::new(Code::NoAnswer, what, "nothing is lost by it: the screens say the same")
    };
    match shown.await {
        Ok(Ok(handle)) => last.hold(handle),
        Ok(Err(error)) => return Err(told(error.to_string())),
        Err(error) => return Err(told(error.to_string())),
    }
    Ok(true)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_notice_a_minute() {
        let (last, now) = (LastNotice::default(), Instant::now());
        assert!(last.may_follow(now));
        assert!(!last.may_follow(now + REST - Duration::from_millis(1)));
        assert!(last.may_follow(now + REST));
        assert!(!last.may_follow(now + REST));
    }
}
