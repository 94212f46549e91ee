//! A drawing as SVG within an HTML file: shapes with a class for what each stands for, and the same
//! in words. No style, no script and no address of its own: the page's style sheet holds the pens.

use guyline_core::report::Drawing;
use guyline_core::report::drawing::{Anchor, Point, Shape};
use maud::{Markup, html};

/// The drawing, as one picture to who hears the page.
pub(super) fn svg(drawing: &Drawing) -> Markup {
    let (width, height) = (number(drawing.width), number(drawing.height));
    html! {
        svg class="drawing" role="img" viewBox=(format!("0 0 {width} {height}")) {
            title { (drawing.title) }
            desc { (drawing.words) }
            @for shape in &drawing.shapes { (one(shape)) }
        }
    }
}

fn one(shape: &Shape) -> Markup {
    match shape {
        Shape::Line { points, role } => html! {
            polyline class=(role.name()) points=(places(points)) {}
        },
        Shape::Area { points, role } => html! {
            polygon class=(role.name()) points=(places(points)) {}
        },
        Shape::Letters { at: [x, y], anchor, size, strong, text } => html! {
            text x=(number(*x)) y=(number(*y)) font-size=(number(*size))
                class=[strong.then_some("strong")] text-anchor=(end(*anchor)) { (text) }
        },
    }
}

fn end(anchor: Anchor) -> &'static str {
    match anchor {
        Anchor::Start => "start",
        Anchor::Middle => "middle",
        Anchor::End => "end",
    }
}

fn places(points: &[Point]) -> String {
    let places = points.iter().map(|[x, y]| format!("{},{}", number(*x), number(*y)));
    places.collect::<Vec<_>>().join(" ")
}

/// Hundredths of a point are finer than any screen or paper.
fn number(value: f64) -> String {
    let text = format!("{value:.2}");
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}
