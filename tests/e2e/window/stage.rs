//! What the window needs around it: a screen nobody sees, a driver, and the nodes of the played
//! day.
//!
//! Everything runs on loopback with ports and a display number that were free, in a folder of its
//! own, and ends when the stage is dropped; only processes started here are ended.

use std::io::{BufRead, BufReader};
use std::net::{Ipv4Addr, TcpListener};
use std::process::{Child, Command, Stdio};

use tempfile::TempDir;

use guyline_tests::{built, demo_data, repository};

use crate::webdriver::{Page, is_ready, until};

/// A screen, a driver and a day of nodes. Fields are dropped in their order: the driver before the
/// screen.
pub(crate) struct Stage {
    _driver: Running,
    _screen: Running,
    port: u16,
    display: String,
    day: TempDir,
}

impl Stage {
    /// Plays the day and gets everything up.
    pub(crate) fn set() -> Self {
        let day = play_the_day();
        let (screen, display) = start_screen();
        let (port, native_port) = (free_port(), free_port());
        let driver = repository().join("target/tools/bin/tauri-driver");
        assert!(driver.exists(), "{} is missing: run ./tests/run", driver.display());
        let child = Command::new(driver)
            .args(["--port", &port.to_string(), "--native-port", &native_port.to_string()])
            .env("DISPLAY", &display)
            .env_remove("WAYLAND_DISPLAY")
            .spawn();
        let driver = Running(child.expect("tauri-driver starts"));
        let ready = until(|| is_ready(port).then_some(()));
        assert!(ready.is_some(), "the driver did not get ready on port {port}");
        Self { _driver: driver, _screen: screen, port, display, day }
    }

    /// Opens the app's window on one node of the day.
    pub(crate) fn open(&self, node: &str) -> Page {
        let data = self.day.path().join(node);
        let data = data.to_str().expect("a temporary folder's name is plain text");
        Page::open(self.port, &built("guyline-app"), &["--data", data])
    }

    /// Keeps a picture of the screen as `target/e2e/window-<name>.png`, and says how many colours
    /// it has: a blank screen has one.
    pub(crate) fn picture(&self, name: &str) -> usize {
        let folder = repository().join("target/e2e");
        std::fs::create_dir_all(&folder).expect("the target folder takes pictures");
        let file = folder.join(format!("window-{name}.png"));
        let mut import = Command::new("import");
        import.args(["-display", &self.display, "-window", "root"]).arg(&file);
        assert!(import.status().expect("ImageMagick starts").success(), "no picture was taken");
        let identify = Command::new("identify").args(["-format", "%k"]).arg(&file).output();
        let colours = identify.expect("ImageMagick starts").stdout;
        let colours = String::from_utf8(colours).expect("a count is plain text");
        colours.parse().expect("identify prints how many colours there are")
    }
}

/// A process of ours. It is asked to end rather than killed, so that it can end its own child.
struct Running(Child);

impl Drop for Running {
    fn drop(&mut self) {
        let asked = Command::new("kill").args(["-TERM", &self.0.id().to_string()]).status();
        let ended = asked.and_then(|_| self.0.wait());
        if let Err(fault) = ended {
            eprintln!("process {} could not be ended: {fault}", self.0.id());
        }
    }
}

/// Starts a screen in memory. It picks a display number itself and prints it.
fn start_screen() -> (Running, String) {
    let mut child = Command::new("Xvfb")
        .args(["-displayfd", "1", "-screen", "0", "1280x800x24", "-nolisten", "tcp"])
        .stdout(Stdio::piped())
        .stderr(Stdio::null())
        .spawn()
        .expect("Xvfb starts; ./tests/run installs it");
    let mut number = String::new();
    let printed = child.stdout.take().expect("its output was piped");
    BufReader::new(printed).read_line(&mut number).expect("Xvfb prints its display number");
    (Running(child), format!(":{}", number.trim()))
}

fn play_the_day() -> TempDir {
    let day = tempfile::tempdir().expect("a folder for the day");
    let played = Command::new(built("guyline"))
        .arg("demo")
        .arg("--data")
        .arg(demo_data())
        .arg("--work")
        .arg(day.path())
        .output()
        .expect("the program starts");
    let said = String::from_utf8_lossy(&played.stderr);
    assert!(played.status.success(), "the day could not be played: {said}");
    day
}

/// A port that was free a moment ago.
fn free_port() -> u16 {
    let taken = TcpListener::bind((Ipv4Addr::LOCALHOST, 0)).expect("loopback has a free port");
    taken.local_addr().expect("a bound port is known").port()
}
