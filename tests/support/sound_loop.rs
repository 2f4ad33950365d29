//! A microphone and a loudspeaker made of two null sinks. The program's microphone hears what is played into `mouth`, and the program's
//! output is recorded from `ear.monitor`. Everything started here is stopped by its process id.

use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

/// Programs required for the loop, and their packages.
const PROGRAMS: [&str; 5] = ["pulseaudio", "pactl", "paplay", "parec", "espeak-ng"];
const PACKAGES: &str = "pulseaudio pulseaudio-utils libasound2-plugins espeak-ng";
/// The loudspeaker's volume at the microphone. The server's volumes are cubic, so this is -12 dB.
const ECHO_VOLUME: &str = "63%";
/// If set, a machine without the programs fails the test instead of skipping it.
const MUST: &str = "PROBESIDE_MUST";

/// Returns a requirement. If it is missing, prints that the test is skipped, or fails on a machine that must have it.
pub fn or_left_out<T>(needed: Result<T, impl std::fmt::Display>) -> Option<T> {
    needed
        .inspect_err(|why| {
            assert!(std::env::var_os(MUST).is_none(), "{why}");
            eprintln!("left out: {why}");
        })
        .ok()
}

/// Checks that a program is on the path. Otherwise returns the command that installs it.
pub fn installed(program: &str, packages: &str) -> Result<(), String> {
    let there =
        std::env::var_os("PATH").is_some_and(|all| std::env::split_paths(&all).any(|p| p.join(program).is_file()));
    if there {
        Ok(())
    } else {
        Err(format!("{program} is not installed (apt-get install -y --no-install-recommends {packages})"))
    }
}

/// A running sound server with the two sinks.
pub struct SoundLoop {
    folder: tempfile::TempDir,
    server: Option<Child>,
    #[allow(dead_code, reason = "only a build with the system's voice starts it")]
    dispatcher: Option<Child>,
}

impl SoundLoop {
    /// Starts the loop, or says why it is skipped. Sets this process's environment: call it before opening any sound device.
    pub fn start() -> Option<Self> {
        or_left_out(PROGRAMS.iter().try_for_each(|program| installed(program, PACKAGES)))?;
        let folder = tempfile::tempdir().expect("a folder for the sound server");
        let path = |name: &str| folder.path().join(name);
        for name in ["home", "pulse"] {
            std::fs::create_dir(path(name)).expect("a folder");
        }
        std::fs::write(
            path("asound.conf"),
            "pcm.!default { type pulse hint { show on description \"pulse\" } }\nctl.!default { type pulse }\n",
        )
        .expect("the sound configuration");
        // No thread of this test reads the environment yet: each sound test file runs as one test.
        unsafe {
            std::env::set_var("PULSE_SERVER", format!("unix:{}", path("native").display()));
            std::env::set_var("ALSA_CONFIG_PATH", path("asound.conf"));
        }
        let mut sound_loop = Self { folder, server: None, dispatcher: None };
        sound_loop.start_server();
        Some(sound_loop)
    }

    /// Starts the sound server, again if it was killed.
    pub fn start_server(&mut self) {
        let path = |name: &str| self.folder.path().join(name);
        let sink = |name: &str| format!("module-null-sink sink_name={name} rate=48000 channels=2 norewinds=1");
        let _ = std::fs::remove_file(path("native"));
        let server = Command::new("pulseaudio")
            .env_remove("PULSE_SERVER")
            .env("HOME", path("home"))
            .env("PULSE_RUNTIME_PATH", path("pulse"))
            .env("PULSE_STATE_PATH", path("pulse"))
            .args(["-n", "--daemonize=no", "--exit-idle-time=-1", "--use-pid-file=no", "--disable-shm=yes"])
            .arg(format!("--log-target=file:{}", path("pulse.log").display()))
            .arg("-L")
            .arg(format!(
                "module-native-protocol-unix socket={} auth-anonymous=1 auth-cookie-enabled=0",
                path("native").display()
            ))
            .args(["-L", &sink("mouth"), "-L", &sink("ear")])
            .stdin(Stdio::null())
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .spawn()
            .expect("the sound server starts");
        self.server = Some(server);
        let until = Instant::now() + Duration::from_secs(20);
        while !pactl(&["info"]) {
            assert!(Instant::now() < until, "the sound server did not come up");
            std::thread::sleep(Duration::from_millis(50));
        }
        assert!(pactl(&["set-default-sink", "ear"]) && pactl(&["set-default-source", "mouth.monitor"]));
    }

    /// Kills the sound server, as if the device were unplugged.
    pub fn kill_server(&mut self) {
        if let Some(mut server) = self.server.take() {
            let _ = server.kill();
            let _ = server.wait();
        }
    }

    /// Starts the system's voice. False, with a message, if it is not installed.
    #[allow(dead_code, reason = "only a build with the system's voice starts it")]
    pub fn start_dispatcher(&mut self) -> bool {
        let packages = "speech-dispatcher speech-dispatcher-espeak-ng";
        if or_left_out(installed("speech-dispatcher", packages)).is_none() {
            return false;
        }
        let (socket, log) = (self.file("speechd.sock"), self.file("spdlog"));
        std::fs::create_dir_all(&log).expect("a folder");
        // No other thread of this test runs at this point.
        unsafe { std::env::set_var("SPEECHD_ADDRESS", format!("unix_socket:{}", socket.display())) };
        let child = Command::new("speech-dispatcher")
            .args(["-s", "-t", "0", "-l", "1", "-c", "unix_socket", "-S"])
            .arg(&socket)
            .arg("-P")
            .arg(self.file("speechd.pid"))
            .arg("-L")
            .arg(&log)
            .stdin(Stdio::null())
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .spawn()
            .expect("speech-dispatcher starts");
        self.dispatcher = Some(child);
        let until = Instant::now() + Duration::from_secs(20);
        while !socket.exists() {
            assert!(Instant::now() < until, "speech-dispatcher did not come up");
            std::thread::sleep(Duration::from_millis(50));
        }
        true
    }

    /// Feeds the program's output back into its microphone at a lower level, like a loudspeaker's echo.
    pub fn lead_back(&self) {
        let led = ["load-module", "module-loopback", "source=ear.monitor", "sink=mouth", "latency_msec=60"];
        assert!(pactl(&led), "the loop can be closed");
        assert!(pactl(&["set-sink-input-volume", "0", ECHO_VOLUME]), "the loop's volume can be set");
    }

    /// A file in the loop's folder.
    pub fn file(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    /// Plays a WAV file to the program's microphone, to its end.
    pub fn play(&self, wav: &Path) {
        let played = Command::new("paplay").arg("--device=mouth").arg(wav).stdin(Stdio::null()).status();
        assert!(played.is_ok_and(|s| s.success()), "paplay failed on {}", wav.display());
    }

    /// Records the program's output until [`Recording::stop`].
    pub fn record(&self, name: &str) -> Recording {
        let path = self.file(name);
        let child = Command::new("parec")
            .args(["--device=ear.monitor", "--latency-msec=20", "--file-format=wav", "--rate=48000", "--channels=1"])
            .arg(&path)
            .stdin(Stdio::null())
            .spawn()
            .expect("parec starts");
        let until = Instant::now() + Duration::from_secs(10);
        while std::fs::metadata(&path).map_or(0, |m| m.len()) <= 1024 {
            assert!(Instant::now() < until, "the recorder got no sound");
            std::thread::sleep(Duration::from_millis(20));
        }
        Recording { child, path }
    }
}

impl Drop for SoundLoop {
    fn drop(&mut self) {
        if let Some(mut dispatcher) = self.dispatcher.take() {
            // It is asked to end rather than killed, so that it ends the voice programs that it started.
            let _ = Command::new("kill").arg(dispatcher.id().to_string()).status();
            let _ = dispatcher.wait();
        }
        self.kill_server();
    }
}

/// A recording in progress.
pub struct Recording {
    child: Child,
    path: PathBuf,
}

impl Recording {
    /// Ends the recording and returns its file.
    pub fn stop(mut self) -> PathBuf {
        let interrupted = Command::new("kill").args(["-INT", &self.child.id().to_string()]).status();
        assert!(interrupted.is_ok_and(|s| s.success()));
        let _ = self.child.wait();
        self.path.clone()
    }
}

fn pactl(arguments: &[&str]) -> bool {
    let status = Command::new("pactl").args(arguments).stdout(Stdio::null()).stderr(Stdio::null()).status();
    status.is_ok_and(|s| s.success())
}
