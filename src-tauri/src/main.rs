//! Desktop start of the app. Everything is in the library, which phones and tablets start too.

fn main() {
    guyline_app::run();
}
