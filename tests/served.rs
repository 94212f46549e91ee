//! The built program as a served node: started, asked where it is, stopped, and ended with whoever
//! has it.

use std::io::{BufRead, BufReader, Read};
use std::process::{Child, ChildStdout, Command, ExitStatus, Stdio};

/// A served node.
#[derive(Debug)]
pub struct Served {
    child: Child,
    said: Vec<String>,
    /// Open as long as it runs: it may say more.
    _out: BufReader<ChildStdout>,
}

impl Served {
    /// Starts it, and waits until it said a line that begins with these words.
    pub fn start(mut command: Command, until: &str) -> Self {
        let mut child = command.stdout(Stdio::piped()).spawn().expect("the program starts");
        let mut out = BufReader::new(child.stdout.take().expect("it is piped"));
        let mut said: Vec<String> = Vec::new();
        while !said.last().is_some_and(|line| line.starts_with(until)) {
            let mut line = String::new();
            let read = out.read_line(&mut line).expect("it says text");
            assert!(read > 0, "it ended before it said {until:?}: {said:?}");
            said.push(line.trim_end().to_owned());
        }
        Self { child, said, _out: out }
    }

    /// What it said after these words.
    pub fn after(&self, words: &str) -> String {
        let found = self.said.iter().find_map(|line| line.strip_prefix(words));
        found.unwrap_or_else(|| panic!("{words:?} is not in {:?}", self.said)).to_owned()
    }

    /// Where its screens are, with the scheme.
    pub fn screens(&self) -> String {
        self.after("Guyline is at ")
    }

    /// Where it shares, without a scheme.
    pub fn shared(&self) -> String {
        self.after("Sharing with the shop's devices at ")
    }

    /// Its number among the system's processes.
    pub fn id(&self) -> u32 {
        self.child.id()
    }

    /// Sends it a signal, as `-TERM`.
    pub fn signal(&self, name: &str) {
        let status = Command::new("kill").args([name, &self.id().to_string()]).status();
        assert!(status.expect("kill is there").success());
    }

    /// Waits for its end.
    pub fn wait(&mut self) -> ExitStatus {
        self.child.wait().expect("it was started here")
    }

    /// Ends it as when the power goes.
    pub fn kill(&mut self) {
        self.child.kill().expect("it runs");
        self.wait();
    }

    /// Ends it as a service manager does, and gives what it wrote to standard error where that was
    /// piped.
    pub fn stop(mut self) -> String {
        self.signal("-TERM");
        let mut log = String::new();
        if let Some(mut error) = self.child.stderr.take() {
            error.read_to_string(&mut log).expect("it writes text");
        }
        assert!(self.wait().success(), "{log}");
        log
    }
}

impl Drop for Served {
    fn drop(&mut self) {
        // Where it has ended already there is nobody left to tell.
        let _ended_already = self.child.kill();
        let _ended_already = self.child.wait();
    }
}
