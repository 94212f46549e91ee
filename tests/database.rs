//! A PostgreSQL server of a test's own: Debian's program, a folder of its own, reached through a
//! socket in that folder and nothing else, ended with the test.

use std::os::unix::process::CommandExt;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

/// It takes no longer to start.
const STARTS_WITHIN: Duration = Duration::from_secs(60);

/// A running server with no database of ours yet.
#[derive(Debug)]
pub struct Server {
    folder: tempfile::TempDir,
    child: Child,
    user: Option<(u32, u32)>,
}

impl Server {
    /// Makes a server and waits until it answers.
    pub fn start() -> Self {
        let folder = tempfile::Builder::new().prefix("guyline-pg").tempdir().expect("a folder");
        let user = unprivileged();
        if let Some((user, group)) = user {
            std::os::unix::fs::chown(folder.path(), Some(user), Some(group)).expect("chown");
        }
        let data = folder.path().join("data");
        let made = command("initdb", user)
            .args(["--auth=trust", "--username=guyline", "--data-checksums", "--no-locale"])
            .args(["--encoding=UTF8", "--no-instructions", "--pgdata"])
            .arg(&data)
            .stdout(Stdio::null())
            .status();
        assert!(made.expect("initdb is installed").success(), "a database folder is made");
        let child = run(folder.path(), user);
        let server = Self { folder, child, user };
        server.wait();
        server
    }

    /// The address of a database that is made with this, and empty.
    pub fn database(&self, name: &str) -> String {
        let socket = self.folder.path().display();
        let made = command("createdb", None)
            .args(["--username=guyline", &format!("--host={socket}"), name])
            .output()
            .expect("createdb is installed");
        assert!(made.status.success(), "{}", String::from_utf8_lossy(&made.stderr));
        format!("postgresql:///{name}?host={socket}&user=guyline")
    }

    /// Ends it at once, as when the power goes.
    pub fn kill(&mut self) {
        self.signal("-QUIT");
        self.child.wait().expect("it was started here");
    }

    /// Starts it again after that.
    pub fn start_again(&mut self) {
        self.child = run(self.folder.path(), self.user);
        self.wait();
    }

    fn signal(&self, name: &str) {
        let told = Command::new("kill").args([name, &self.child.id().to_string()]).status();
        assert!(told.expect("kill is there").success());
    }

    fn wait(&self) {
        let begun = Instant::now();
        let socket = self.folder.path().display().to_string();
        loop {
            let ready = command("pg_isready", None)
                .args(["--quiet", "--username=guyline", "--dbname=postgres", "--host", &socket])
                .status();
            if ready.expect("pg_isready is installed").success() {
                return;
            }
            assert!(begun.elapsed() < STARTS_WITHIN, "the server does not answer");
            std::thread::sleep(Duration::from_millis(20));
        }
    }
}

impl Drop for Server {
    fn drop(&mut self) {
        // QUIT ends all its processes; KILL would leave its children behind.
        let id = self.child.id().to_string();
        let _ended_already = Command::new("kill").args(["-QUIT", &id]).status();
        let _ended_already = self.child.wait();
    }
}

fn run(folder: &Path, user: Option<(u32, u32)>) -> Child {
    let log = std::fs::File::create(folder.join("log")).expect("a log");
    command("postgres", user)
        .arg("-D")
        .arg(folder.join("data"))
        .arg("-k")
        .arg(folder)
        .args(["-c", "listen_addresses=", "-c", "logging_collector=off"])
        .stdout(Stdio::null())
        .stderr(log)
        .spawn()
        .expect("postgres is installed")
}

fn command(program: &str, user: Option<(u32, u32)>) -> Command {
    let mut command = Command::new(installed(program));
    if let Some((user, group)) = user {
        command.uid(user).gid(group);
    }
    // It must be able to read where it stands.
    command.current_dir("/");
    command
}

/// Where Debian keeps its newest version.
fn installed(program: &str) -> PathBuf {
    let versions = std::fs::read_dir("/usr/lib/postgresql").expect("postgresql is installed");
    let number = |path: &PathBuf| path.file_name()?.to_str()?.parse::<u32>().ok();
    let newest = versions.filter_map(|entry| Some(entry.ok()?.path())).max_by_key(number);
    newest.expect("a version of postgresql is installed").join("bin").join(program)
}

/// Whom the server runs as where this is the superuser, whom it refuses.
fn unprivileged() -> Option<(u32, u32)> {
    let id = |words: &[&str]| -> u32 {
        let said = Command::new("id").args(words).output().expect("id is there");
        let text = String::from_utf8(said.stdout).expect("a number");
        text.trim().parse().unwrap_or_else(|_| panic!("id {words:?} says {text:?}"))
    };
    (id(&["-u"]) == 0).then(|| (id(&["-u", "postgres"]), id(&["-g", "postgres"])))
}
