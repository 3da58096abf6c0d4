//! Connections: never more than a browser or two can need, and none that says nothing for minutes.

use axum::serve::Listener;
use std::io;
use std::net::SocketAddr;
use std::pin::Pin;
use std::sync::Arc;
use std::task::{Context, Poll};
use std::time::Duration;
use tokio::io::{AsyncRead, AsyncWrite, ReadBuf};
use tokio::net::{TcpListener, TcpStream};
use tokio::sync::{OwnedSemaphorePermit, Semaphore};

/// Most connections at a time; more wait.
const MOST: usize = 100;

/// A listener that opens at most [`MOST`] connections.
pub struct Counted {
    listener: TcpListener,
    free: Arc<Semaphore>,
}

impl Counted {
    /// Counts the connections of a listener.
    pub fn new(listener: TcpListener) -> Counted {
        Counted { listener, free: Arc::new(Semaphore::new(MOST)) }
    }
}

/// A connection that gives its place back when it ends.
pub struct Connection {
    stream: TcpStream,
    _place: Option<OwnedSemaphorePermit>,
}

impl Listener for Counted {
    type Io = Connection;
    type Addr = SocketAddr;

    async fn accept(&mut self) -> (Connection, SocketAddr) {
        let place = Arc::clone(&self.free).acquire_owned().await.ok();
        loop {
            match self.listener.accept().await {
                Ok((stream, address)) => {
                    return (Connection { stream, _place: place }, address);
                }
                // Out of file handles, say: others end meanwhile.
                Err(_) => tokio::time::sleep(Duration::from_millis(100)).await,
            }
        }
    }

    fn local_addr(&self) -> io::Result<SocketAddr> {
        self.listener.local_addr()
    }
}

impl AsyncRead for Connection {
    fn poll_read(
        mut self: Pin<&mut Self>,
        cx: &mut Context<'_>,
        buf: &mut ReadBuf<'_>,
    ) -> Poll<io::Result<()>> {
        Pin::new(&mut self.stream).poll_read(cx, buf)
    }
}

impl AsyncWrite for Connection {
    fn poll_write(
        mut self: Pin<&mut Self>,
        cx: &mut Context<'_>,
        buf: &[u8],
    ) -> Poll<io::Result<usize>> {
        Pin::new(&mut self.stream).poll_write(cx, buf)
    }

    fn poll_flush(mut self: Pin<&mut Self>, cx: &mut Context<'_>) -> Poll<io::Result<()>> {
        Pin::new(&mut self.stream).poll_flush(cx)
    }

    fn poll_shutdown(mut self: Pin<&mut Self>, cx: &mut Context<'_>) -> Poll<io::Result<()>> {
        Pin::new(&mut self.stream).poll_shutdown(cx)
    }
}
