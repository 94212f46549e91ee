//! What the window needs around it: a screen nobody sees, a session bus, a driver, and the nodes of
//! the played day.
//!
//! Everything runs on loopback with ports and a display number that were free, in a folder of its
//! own, where the app keeps its settings too, and ends when the stage is dropped; only processes
//! started here are ended.

use std::io::{BufRead, BufReader};
use std::net::{Ipv4Addr, TcpListener};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::sync::mpsc;
use std::time::{Duration, Instant};

use tempfile::TempDir;

use super::webdriver::{Page, is_ready, until};
use crate::{built, demo_data, repository};

/// What the app's names on a session's bus begin with.
const APP: &str = "works.guyline.app";

/// A screen, a bus, a driver and a day of nodes. Fields are dropped in their order: the driver
/// before the screen.
pub struct Stage {
    _driver: Running,
    _bus: Running,
    _screen: Running,
    port: u16,
    display: String,
    bus: String,
    day: TempDir,
}

impl Stage {
    /// Plays the day and gets everything up.
    pub fn set() -> Self {
        Self::around(play_the_day())
    }

    /// Gets everything up around a folder of nodes.
    pub fn around(day: TempDir) -> Self {
        let (screen, display) = start_screen();
        let (session_bus, bus) = start_bus();
        let (port, native_port) = (free_port(), free_port());
        let driver = repository().join("target/tools/bin/tauri-driver");
        assert!(driver.exists(), "{} is missing: run ./tests/run", driver.display());
        let child = Command::new(driver)
            .args(["--port", &port.to_string(), "--native-port", &native_port.to_string()])
            .env("DISPLAY", &display)
            .env("DBUS_SESSION_BUS_ADDRESS", &bus)
            .env("XDG_CONFIG_HOME", day.path().join("config"))
            .env("XDG_DATA_HOME", day.path().join("data"))
            // File dialogs begin in the folder the program was started in.
            .current_dir(day.path())
            // Nobody reads this screen aloud, and the toolkit would look for who does.
            .env("NO_AT_BRIDGE", "1")
            .env_remove("WAYLAND_DISPLAY")
            .spawn();
        let driver = Running(child.expect("tauri-driver starts"));
        let ready = until(|| is_ready(port).then_some(()));
        assert!(ready.is_some(), "the driver did not get ready on port {port}");
        Self { _driver: driver, _bus: session_bus, _screen: screen, port, display, bus, day }
    }

    /// Opens the app's window on one node of the day, with these arguments besides.
    pub fn open(&self, node: &str, arguments: &[&str]) -> Page {
        let data = self.folder(node);
        let data = data.to_str().expect("a temporary folder's name is plain text");
        let arguments: Vec<&str> = [&["--data", data], arguments].concat();
        self.open_program(&built("guyline-app"), &arguments)
    }

    /// Opens the window of any program that has one.
    pub fn open_program(&self, program: &Path, arguments: &[&str]) -> Page {
        Page::open(self.port, program, arguments)
    }

    /// Starts the app on a node again, as somebody does who did not see that it runs; gives whether
    /// it ended well, and what it wrote on standard error.
    pub fn start_again(&self, node: &str, arguments: &[&str]) -> (bool, String) {
        let output = Command::new("timeout")
            .arg("20")
            .arg(built("guyline-app"))
            .arg("--data")
            .arg(self.folder(node))
            .args(arguments)
            .env("DISPLAY", &self.display)
            .env("DBUS_SESSION_BUS_ADDRESS", &self.bus)
            .env_remove("WAYLAND_DISPLAY")
            .output()
            .expect("the program starts");
        (output.status.success(), String::from_utf8_lossy(&output.stderr).into_owned())
    }

    /// The address of the session's bus.
    pub fn bus(&self) -> &str {
        &self.bus
    }

    /// A node's folder, or another one of the day.
    pub fn folder(&self, name: &str) -> PathBuf {
        self.day.path().join(name)
    }

    /// Waits until no program runs on a node's folder any more: what a closed window left is there.
    pub fn wait_until_ended(&self, node: &str) {
        let folder = self.folder(node);
        let ended = until(|| running_on(&folder).is_none().then_some(()));
        assert!(ended.is_some(), "a program still runs on {}", folder.display());
        // The bus may notice later than the system, and would send the next start to one that left.
        let left = until(|| (!self.names().contains(APP)).then_some(()));
        assert!(left.is_some(), "the bus still knows a program that ended: {}", self.names());
    }

    /// Whom the session's bus knows by name.
    fn names(&self) -> String {
        let listed = Command::new("dbus-send")
            .args([&format!("--bus={}", self.bus), "--print-reply"])
            .arg("--dest=org.freedesktop.DBus")
            .args(["/org/freedesktop/DBus", "org.freedesktop.DBus.ListNames"])
            .output()
            .expect("dbus-send starts; ./tests/run installs it");
        let said = String::from_utf8_lossy(&listed.stderr);
        assert!(listed.status.success(), "the bus lists no names: {said}");
        String::from_utf8_lossy(&listed.stdout).into_owned()
    }

    /// Listens on the session's bus to what is asked of a service, until a line holds `said`; tells
    /// whether one did. `meanwhile` happens once it listens.
    pub fn hears(&self, interface: &str, said: &str, meanwhile: impl FnOnce()) -> bool {
        let mut child = Command::new("dbus-monitor")
            .args(["--address", &self.bus, &format!("interface='{interface}'")])
            .stdout(Stdio::piped())
            .spawn()
            .expect("dbus-monitor starts; ./tests/run installs it");
        let lines = BufReader::new(child.stdout.take().expect("its output was piped")).lines();
        let _ends = Running(child);
        let (sender, heard) = mpsc::channel();
        std::thread::spawn(move || {
            for line in lines.map_while(Result::ok) {
                if sender.send(line).is_err() {
                    return;
                }
            }
        });
        // Its first lines say that it listens.
        heard.recv_timeout(Duration::from_secs(10)).expect("it says that it listens");
        meanwhile();
        let deadline = Instant::now() + Duration::from_secs(10);
        let left = || deadline.saturating_duration_since(Instant::now());
        std::iter::from_fn(|| heard.recv_timeout(left()).ok()).any(|line| line.contains(said))
    }

    /// Presses keys in the window whose title is this, such as a dialog of the platform.
    pub fn press_in(&self, title: &str, keys: &[&str]) {
        let found = until(|| {
            let mut search = self.xdotool();
            let found = search.args(["search", "--onlyvisible", "--name", title]).output();
            let found = String::from_utf8(found.expect("xdotool starts").stdout).ok()?;
            found.lines().last().map(str::to_owned)
        });
        let window = found.unwrap_or_else(|| panic!("no window is called {title:?}"));
        // There is nobody on this screen who gives a new window the keys.
        let focused = self.xdotool().args(["windowfocus", "--sync", &window]).status();
        assert!(focused.expect("xdotool starts").success(), "{title:?} took no keys");
        let pressed = self.xdotool().args(["key", "--delay", "100"]).args(keys).status();
        assert!(pressed.expect("xdotool starts").success(), "{title:?} took no keys");
    }

    /// Takes the keys away from every window that the pointer is not in, and the pointer into a
    /// corner of the screen.
    pub fn look_away(&self) {
        let moved = self.xdotool().args(["mousemove", "1279", "799"]).status();
        assert!(moved.expect("xdotool starts").success(), "the pointer did not move");
        // Not a window but the name that X11 has for "where the pointer is" (PointerRoot).
        let taken = self.xdotool().args(["windowfocus", "1"]).status();
        assert!(taken.expect("xdotool starts").success(), "the keys were not taken away");
    }

    fn xdotool(&self) -> Command {
        let mut command = Command::new("xdotool");
        command.env("DISPLAY", &self.display);
        command
    }

    /// Keeps a picture of the screen as `target/e2e/window-<name>.png`, and says how many colours
    /// it has: a blank screen has one.
    pub fn picture(&self, name: &str) -> usize {
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
pub(super) struct Running(pub(super) Child);

impl Drop for Running {
    fn drop(&mut self) {
        let asked = Command::new("kill").args(["-TERM", &self.0.id().to_string()]).status();
        let ended = asked.and_then(|_| self.0.wait());
        if let Err(fault) = ended {
            eprintln!("process {} could not be ended: {fault}", self.0.id());
        }
    }
}

/// Starts a screen in memory. It picks a display number itself and prints it. When the last window
/// is closed it stays as it is: a window that opens meanwhile would find no screen.
fn start_screen() -> (Running, String) {
    let mut child = Command::new("Xvfb")
        .args(["-displayfd", "1", "-screen", "0", "1280x800x24", "-nolisten", "tcp", "-noreset"])
        .stdout(Stdio::piped())
        .stderr(Stdio::null())
        .spawn()
        .expect("Xvfb starts; ./tests/run installs it");
    let mut number = String::new();
    let printed = child.stdout.take().expect("its output was piped");
    BufReader::new(printed).read_line(&mut number).expect("Xvfb prints its display number");
    (Running(child), format!(":{}", number.trim()))
}

/// Starts a session bus of its own and gives its address.
pub(super) fn start_bus() -> (Running, String) {
    let mut child = Command::new("dbus-daemon")
        .args(["--session", "--nofork", "--print-address=1"])
        .stdout(Stdio::piped())
        .stderr(Stdio::null())
        .spawn()
        .expect("dbus-daemon starts; ./tests/run installs it");
    let mut address = String::new();
    let printed = child.stdout.take().expect("its output was piped");
    BufReader::new(printed).read_line(&mut address).expect("the bus prints its address");
    (Running(child), address.trim().to_owned())
}

/// The program that runs and was started with this folder, by its number.
pub fn running_on(folder: &Path) -> Option<u32> {
    let named = folder.as_os_str().as_encoded_bytes();
    let programs = std::fs::read_dir("/proc").expect("the system lists its programs");
    let mut numbers = programs.flatten().filter_map(|program| {
        let number = program.file_name().to_str()?.parse().ok()?;
        // One that ended meanwhile is named by nobody.
        let line = std::fs::read(program.path().join("cmdline")).unwrap_or_default();
        line.split(|byte| *byte == 0).any(|argument| argument == named).then_some(number)
    });
    numbers.next()
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
