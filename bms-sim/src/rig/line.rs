//! How bytes come to a target and back.

use super::Trouble;
use std::fs::File;
use std::io::{self, Read, Write};
use std::net::{Shutdown, TcpStream};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::str::FromStr;
use std::sync::mpsc::{self, Receiver, RecvTimeoutError};
use std::time::{Duration, Instant};

/// Bits a second of a serial device when none are named.
const BAUD: u32 = 921_600;

/// The machine of QEMU that the image is for.
const MACHINE: &str = "mps2-an386";

/// How long QEMU may take to open its side.
const STARTING: Duration = Duration::from_secs(10);

/// Where a target is.
#[derive(Clone, Debug, Eq, PartialEq)]
pub enum Address {
    /// `serial:DEVICE@BAUD`: a serial device, 8 bits, no parity, one stop bit.
    Serial(PathBuf, u32),
    /// `tcp:HOST:PORT`: a socket that listens, as QEMU with `-serial tcp::PORT,server` has.
    Tcp(String),
    /// `unix:SOCKET`: a socket that listens, in the file system.
    Unix(PathBuf),
    /// `qemu:IMAGE`: QEMU is started with this image, whose UART is the line.
    Qemu(PathBuf),
    /// `qemu-pipes:IMAGE`: the same with an image whose line are two pipes, a hundred times as fast.
    QemuPipes(PathBuf),
}

impl FromStr for Address {
    type Err = Trouble;

    fn from_str(text: &str) -> Result<Self, Trouble> {
        let no_address = || Trouble::NoAddress { found: text.to_owned() };
        let (kind, rest) =
            text.split_once(':').filter(|(_, rest)| !rest.is_empty()).ok_or_else(no_address)?;
        Ok(match kind {
            "serial" => match rest.rsplit_once('@') {
                Some((device, baud)) => Self::Serial(device.into(), baud.parse().map_err(|_| no_address())?),
                None => Self::Serial(rest.into(), BAUD),
            },
            "tcp" if rest.contains(':') => Self::Tcp(rest.to_owned()),
            "unix" => Self::Unix(rest.into()),
            "qemu" => Self::Qemu(rest.into()),
            "qemu-pipes" => Self::QemuPipes(rest.into()),
            _ => return Err(no_address()),
        })
    }
}

impl std::fmt::Display for Address {
    fn fmt(&self, to: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Serial(device, baud) => write!(to, "serial:{}@{baud}", device.display()),
            Self::Tcp(address) => write!(to, "tcp:{address}"),
            Self::Unix(socket) => write!(to, "unix:{}", socket.display()),
            Self::Qemu(image) => write!(to, "qemu:{}", image.display()),
            Self::QemuPipes(image) => write!(to, "qemu-pipes:{}", image.display()),
        }
    }
}

/// A line to a target: bytes are written at once, and read by a thread of their own, so that waiting for them can end.
pub struct Line {
    to: Box<dyn Write + Send>,
    from: Receiver<io::Result<Vec<u8>>>,
    /// What was received and not taken yet, last byte first.
    kept: Vec<u8>,
    /// QEMU, where it was started for this line; it ends with it.
    _machine: Option<Machine>,
}

impl Line {
    /// Opens the line.
    ///
    /// # Errors
    /// When there is nothing at that address, or QEMU cannot be started.
    pub fn open(address: &Address) -> Result<Self, Trouble> {
        let opened = match address {
            Address::Serial(device, baud) => serial(device, *baud),
            Address::Tcp(address) => tcp(address),
            Address::Unix(socket) => unix(socket),
            Address::Qemu(image) => qemu(image),
            Address::QemuPipes(image) => qemu_pipes(image),
        };
        opened.map_err(|source| Trouble::Unreachable { address: address.clone(), source })
    }

    /// A line over any two ends.
    pub fn over(from: impl Read + Send + 'static, to: impl Write + Send + 'static) -> Self {
        Self { to: Box::new(to), from: listen(from), kept: Vec::new(), _machine: None }
    }

    /// Sends all bytes.
    pub(super) fn send(&mut self, bytes: &[u8]) -> io::Result<()> {
        self.to.write_all(bytes)?;
        self.to.flush()
    }

    /// The next byte, or none when none comes until then.
    pub(super) fn receive(&mut self, until: Instant) -> io::Result<Option<u8>> {
        loop {
            if let Some(byte) = self.kept.pop() {
                return Ok(Some(byte));
            }
            match self.from.recv_timeout(until.saturating_duration_since(Instant::now())) {
                Ok(bytes) => {
                    self.kept = bytes?;
                    self.kept.reverse();
                }
                Err(RecvTimeoutError::Timeout) => return Ok(None),
                Err(RecvTimeoutError::Disconnected) => return Err(io::ErrorKind::UnexpectedEof.into()),
            }
        }
    }
}

/// A thread that reads until the end or an error, which it hands on.
fn listen(mut from: impl Read + Send + 'static) -> Receiver<io::Result<Vec<u8>>> {
    let (sender, receiver) = mpsc::channel();
    std::thread::spawn(move || {
        let mut bytes = [0; 4_096];
        loop {
            let read = match from.read(&mut bytes) {
                Ok(0) => Err(io::Error::new(io::ErrorKind::UnexpectedEof, "the other end is closed")),
                Ok(count) => Ok(bytes[..count].to_vec()),
                Err(error)
                    if matches!(error.kind(), io::ErrorKind::Interrupted | io::ErrorKind::TimedOut) =>
                {
                    continue;
                }
                Err(error) => Err(error),
            };
            let ended = read.is_err();
            if sender.send(read).is_err() || ended {
                return;
            }
        }
    });
    receiver
}

/// The half of a socket that is written. The connection ends with it, also for the thread that reads: else a target that serves one host
/// at a time would wait for it for ever.
struct Half<S: HangsUp>(S);

trait HangsUp: Write {
    fn hang_up(&self) -> io::Result<()>;
}

impl HangsUp for TcpStream {
    fn hang_up(&self) -> io::Result<()> {
        self.shutdown(Shutdown::Both)
    }
}

#[cfg(unix)]
impl HangsUp for std::os::unix::net::UnixStream {
    fn hang_up(&self) -> io::Result<()> {
        self.shutdown(Shutdown::Both)
    }
}

impl<S: HangsUp> Write for Half<S> {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        self.0.write(bytes)
    }

    fn flush(&mut self) -> io::Result<()> {
        self.0.flush()
    }
}

impl<S: HangsUp> Drop for Half<S> {
    fn drop(&mut self) {
        // Ended from the other side already: as wished.
        let _ended = self.0.hang_up();
    }
}

fn serial(device: &Path, baud: u32) -> io::Result<Line> {
    let port = serial2::SerialPort::open(device, baud)?;
    Ok(Line::over(port.try_clone()?, port))
}

fn tcp(address: &str) -> io::Result<Line> {
    let stream = TcpStream::connect(address)?;
    // Small messages, each of which is waited for.
    stream.set_nodelay(true)?;
    Ok(Line::over(stream.try_clone()?, Half(stream)))
}

#[cfg(unix)]
fn unix(socket: &Path) -> io::Result<Line> {
    let stream = std::os::unix::net::UnixStream::connect(socket)?;
    Ok(Line::over(stream.try_clone()?, Half(stream)))
}

#[cfg(unix)]
fn qemu(image: &Path) -> io::Result<Line> {
    let folder = tempfile::tempdir()?;
    let socket = folder.path().join("line");
    let listener = std::os::unix::net::UnixListener::bind(&socket)?;
    listener.set_nonblocking(true)?;
    let chardev = format!("socket,id=line,path={}", socket.display());
    let mut machine = Machine::start(image, folder, &["-chardev", &chardev, "-serial", "chardev:line"])?;
    let stream = machine.wait_for(|| match listener.accept() {
        Ok((stream, _)) => Some(Ok(stream)),
        Err(error) if error.kind() == io::ErrorKind::WouldBlock => None,
        Err(error) => Some(Err(error)),
    })?;
    stream.set_nonblocking(false)?;
    Ok(Line { _machine: Some(machine), ..Line::over(stream.try_clone()?, stream) })
}

#[cfg(unix)]
fn qemu_pipes(image: &Path) -> io::Result<Line> {
    let folder = tempfile::tempdir()?;
    let (to, from) = (folder.path().join("to-target"), folder.path().join("to-host"));
    let made = Command::new("mkfifo").args([&to, &from]).status()?;
    if !made.success() {
        return Err(io::Error::other("mkfifo has failed"));
    }
    let mut machine = Machine::start(image, folder, &["-serial", "null"])?;
    // Each end of a pipe opens only with the other one: a thread waits for the target, and this one watches that there is a target.
    let (sender, opened) = mpsc::channel();
    std::thread::spawn(move || {
        let both = File::options().write(true).open(&to).and_then(|to| Ok((to, File::open(&from)?)));
        sender.send(both)
    });
    let (to, from) = machine.wait_for(|| opened.try_recv().ok())?;
    Ok(Line { _machine: Some(machine), ..Line::over(from, to) })
}

#[cfg(not(unix))]
fn unix(_: &Path) -> io::Result<Line> {
    Err(io::Error::new(io::ErrorKind::Unsupported, "this system has no such sockets: use tcp:HOST:PORT"))
}

#[cfg(not(unix))]
fn qemu(_: &Path) -> io::Result<Line> {
    Err(io::Error::new(
        io::ErrorKind::Unsupported,
        "start QEMU with -serial tcp::PORT,server and use tcp:HOST:PORT",
    ))
}

#[cfg(not(unix))]
fn qemu_pipes(image: &Path) -> io::Result<Line> {
    qemu(image)
}

/// QEMU, as long as its line is open.
struct Machine {
    process: Child,
    _folder: tempfile::TempDir,
}

impl Machine {
    fn start(image: &Path, folder: tempfile::TempDir, line: &[&str]) -> io::Result<Self> {
        let image = image.canonicalize()?;
        let mut qemu = Command::new("qemu-system-arm");
        // An interruption at the terminal is this program's to heed: QEMU goes with its line.
        #[cfg(unix)]
        std::os::unix::process::CommandExt::process_group(&mut qemu, 0);
        let process = qemu
            .args(["-M", MACHINE, "-nographic", "-monitor", "none"])
            .args(["-semihosting-config", "enable=on,target=native"])
            .args(line)
            .arg("-kernel")
            .arg(image)
            .current_dir(folder.path())
            .stdin(Stdio::null())
            .stdout(Stdio::null())
            .spawn()
            .map_err(|error| io::Error::new(error.kind(), format!("qemu-system-arm: {error}")))?;
        Ok(Self { process, _folder: folder })
    }

    /// What `look` finds, as soon as it finds something, unless QEMU has ended or takes too long.
    fn wait_for<T>(&mut self, mut look: impl FnMut() -> Option<io::Result<T>>) -> io::Result<T> {
        let until = Instant::now() + STARTING;
        loop {
            if let Some(found) = look() {
                return found;
            }
            if let Some(status) = self.process.try_wait()? {
                return Err(io::Error::other(format!("qemu-system-arm has ended: {status}")));
            }
            if Instant::now() > until {
                return Err(io::Error::new(io::ErrorKind::TimedOut, "the image does not open its line"));
            }
            std::thread::sleep(Duration::from_millis(2));
        }
    }
}

impl Drop for Machine {
    fn drop(&mut self) {
        // Ended already, or about to: either is as wished.
        let _ended = self.process.kill();
        let _reaped = self.process.wait();
    }
}
