//! Sends a signal to a program that a test started.

use std::process::{Child, Command};

/// Sends it by name: `TERM`, `HUP`, `INT`.
pub fn send(signal: &str, to: &Child) {
    let sent = Command::new("kill").args(["-s", signal, &to.id().to_string()]).status();
    assert!(sent.is_ok_and(|status| status.success()), "kill -s {signal}");
}
