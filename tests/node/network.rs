//! Goal: a crew becomes level over a bad network: packets lost and late, links that go down and
//! come up. Method: three served nodes in network namespaces of their own on one bridge, where
//! Linux lets this test make them; loss and delay where its kernel has them. What is not there is
//! said on standard error, and the rest is tested all the same.

use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

use guyline_tests::built;

use crate::crew::{Device, device, work};
use crate::members::let_in;

/// Runs a program. What it said on standard error, where it failed.
fn did(words: &[&str]) -> Result<String, String> {
    let output = Command::new(words[0]).args(&words[1..]).output();
    let output = output.map_err(|error| format!("{words:?}: {error}"))?;
    match output.status.success() {
        true => Ok(String::from_utf8_lossy(&output.stdout).into_owned()),
        false => Err(format!("{words:?}: {}", String::from_utf8_lossy(&output.stderr).trim())),
    }
}

/// Namespaces and what runs in them; all of it goes with the test.
struct Air {
    name: String,
    count: usize,
    serving: Vec<Child>,
}

impl Air {
    /// A bridge in a namespace of its own, and so many others on it; an error where the system does
    /// not let this test make them.
    fn make(count: usize) -> Result<Self, String> {
        let name = format!("guyline-{}", std::process::id());
        let air = Self { name, count, serving: Vec::new() };
        let hub = air.namespace(count);
        did(&["ip", "netns", "add", &hub])?;
        did(&["ip", "-n", &hub, "link", "add", "air", "type", "bridge"])?;
        did(&["ip", "-n", &hub, "link", "set", "air", "up"])?;
        for n in 0..count {
            let (own, end) = (air.namespace(n), format!("to{n}"));
            did(&["ip", "netns", "add", &own])?;
            let pair = ["ip", "-n", &hub, "link", "add", &end, "type", "veth"];
            did(&[&pair[..], &["peer", "name", "radio", "netns", &own]].concat())?;
            did(&["ip", "-n", &hub, "link", "set", &end, "master", "air", "up"])?;
            did(&["ip", "-n", &own, "link", "set", "lo", "up"])?;
            did(&["ip", "-n", &own, "link", "set", "radio", "up"])?;
            let address = format!("{}/24", Self::address(n));
            did(&["ip", "-n", &own, "address", "add", &address, "dev", "radio"])?;
        }
        Ok(air)
    }

    fn namespace(&self, n: usize) -> String {
        format!("{}-{n}", self.name)
    }

    /// In the block for documentation (RFC 5737); the bridge leads nowhere else.
    fn address(n: usize) -> String {
        format!("192.0.2.{}", 10 + n)
    }

    /// Loses and delays packets on every link.
    fn worsen(&self) -> Result<(), String> {
        (0..self.count).try_for_each(|n| {
            let words = "tc qdisc add dev radio root netem loss 10% delay 60ms 30ms";
            let words: Vec<&str> = words.split(' ').collect();
            let inside = ["ip", "netns", "exec", &self.namespace(n)].map(str::to_owned);
            let all: Vec<&str> = inside.iter().map(String::as_str).chain(words).collect();
            did(&all).map(drop)
        })
    }

    fn link(&self, n: usize, state: &str) {
        let (hub, end) = (self.namespace(self.count), format!("to{n}"));
        did(&["ip", "-n", &hub, "link", "set", &end, state]).unwrap();
    }

    fn serve(&mut self, n: usize, data: &Path) {
        let share = format!("{}:4771", Self::address(n));
        let child = Command::new("ip")
            .args(["netns", "exec", &self.namespace(n)])
            .arg(built("guyline"))
            .args(["serve", "--listen", "127.0.0.1:4770", "--share", &share, "--data"])
            .arg(data)
            .stdout(Stdio::null())
            .spawn();
        self.serving.push(child.expect("ip was there before"));
    }

    /// How many changes a node holds; none while it does not answer.
    fn position(&self, n: usize) -> Option<u64> {
        let asking = "exec 3<>/dev/tcp/127.0.0.1/4770; printf 'GET /health HTTP/1.1\\r\\nHost: \
                      127.0.0.1:4770\\r\\nConnection: close\\r\\n\\r\\n' >&3; cat <&3";
        let own = self.namespace(n);
        let said = did(&["ip", "netns", "exec", &own, "bash", "-c", asking]).ok()?;
        let body: serde_json::Value = serde_json::from_str(said.split("\r\n\r\n").nth(1)?).ok()?;
        body["position"].as_u64()
    }

    fn stop(&mut self) {
        for child in &mut self.serving {
            // `ip netns exec` becomes the program, so this is its own id.
            let ended = did(&["kill", "-TERM", &child.id().to_string()]);
            ended.expect("it still runs");
            assert!(child.wait().expect("it is ours").success());
        }
        self.serving.clear();
    }
}

impl Drop for Air {
    fn drop(&mut self) {
        // Only what a failed test left running; then there is nobody left to tell.
        for child in &mut self.serving {
            let _ended_already = child.kill();
            let _ended_already = child.wait();
        }
        for n in 0..=self.count {
            let _never_made = did(&["ip", "netns", "delete", &self.namespace(n)]);
        }
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_crew_becomes_level_over_a_network_that_comes_and_goes() {
    let mut air = match Air::make(3) {
        Ok(air) => air,
        Err(why) => {
            eprintln!("SKIPPED: this system lets no test make a network: {why}");
            return;
        }
    };
    if let Err(why) = air.worsen() {
        eprintln!("SKIPPED IN PART: no loss and delay here, only links that go: {why}");
    }
    let crew: Vec<Device> = (0..3).map(|n| device(&format!("tablet {n}"))).collect();
    crew[0].node.found_shop().unwrap();
    for guest in &crew[1..] {
        let_in(&crew[0], guest).await;
    }
    for (n, device) in (1..).zip(&crew) {
        work(&device.node, n, 40);
    }
    crew[0].node.share_no_more().await;
    let folders: Vec<tempfile::TempDir> = crew.into_iter().map(|one| one.folder).collect();
    for folder in &folders {
        // A task of the server may hold it for a moment.
        while guyline_hub::Node::open(folder.path()).is_err() {
            tokio::time::sleep(Duration::from_millis(20)).await;
        }
    }
    for (n, folder) in folders.iter().enumerate() {
        air.serve(n, folder.path());
    }
    let (started, whole) = (Instant::now(), Some(3 * 41));
    let mut turn = 0;
    while !(0..3).all(|n| air.position(n) == whole) {
        assert!(started.elapsed() < Duration::from_secs(50), "not level by then");
        // The links take turns being down, for as long as an exchange takes; then they stay up.
        if started.elapsed() < Duration::from_secs(8) {
            air.link(turn % 3, "down");
            tokio::time::sleep(Duration::from_millis(150)).await;
            air.link(turn % 3, "up");
            turn += 1;
        }
        tokio::time::sleep(Duration::from_millis(250)).await;
    }
    eprintln!("level after {:?}, links down {turn} times", started.elapsed());
    assert!(turn > 0);
    air.stop();
    let heads = folders.iter().map(|one| guyline_hub::Node::open(one.path()).unwrap().heads());
    let heads: Vec<_> = heads.map(Result::unwrap).collect();
    assert!(heads.iter().all(|one| *one == heads[0]) && heads[0].len() == 3);
}
