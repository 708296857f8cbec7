//! How the command line wakes the daemon. What was said is in the store already; this only says "look".

use std::io;
use std::os::unix::net::UnixDatagram as StdDatagram;
use std::path::Path;
use tokio::net::UnixDatagram;

/// The socket's name in the state folder.
const SOCKET: &str = "wake";

/// The daemon's ear.
#[derive(Debug)]
pub struct Ear {
    socket: UnixDatagram,
}

impl Ear {
    /// Opens the ear. The caller holds the state folder's lock, so a socket that is there is a left-over.
    ///
    /// # Errors
    /// When the socket cannot be made.
    pub fn open(folder: &Path) -> io::Result<Self> {
        let path = folder.join(SOCKET);
        match std::fs::remove_file(&path) {
            Ok(()) => {}
            Err(error) if error.kind() == io::ErrorKind::NotFound => {}
            Err(error) => return Err(error),
        }
        Ok(Self { socket: UnixDatagram::bind(path)? })
    }

    /// Waits to be woken.
    pub async fn heard(&self) {
        let mut byte = [0];
        if let Err(error) = self.socket.recv(&mut byte).await {
            tracing::warn!(%error, "the wake socket failed");
            // What is said is found at the next nap's end.
            std::future::pending::<()>().await;
        }
    }
}

/// Wakes a running daemon. False when none runs.
#[must_use]
pub fn wake(folder: &Path) -> bool {
    let sent = StdDatagram::unbound().and_then(|socket| {
        // A daemon that hangs must not hang us: its ear is full, and so it is there.
        socket.set_nonblocking(true)?;
        socket.send_to(&[1], folder.join(SOCKET))
    });
    match sent {
        Ok(_) => true,
        Err(error) => error.kind() == io::ErrorKind::WouldBlock,
    }
}

/// Does a daemon run? It is woken by the question, finds nothing new, and sleeps on.
#[must_use]
pub fn is_there(folder: &Path) -> bool {
    wake(folder)
}
