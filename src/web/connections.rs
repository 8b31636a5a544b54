//! How many connections may be open at a time. Each holds a file of the process, of which there are not many; those that
//! come when there is no room are closed at once, so that the ones under way go on.

use axum_server::accept::Accept;
use std::future::Future;
use std::io;
use std::pin::Pin;
use std::sync::Arc;
use std::task::{Context, Poll};
use tokio::io::{AsyncRead, AsyncWrite, ReadBuf};
use tokio::sync::{OwnedSemaphorePermit, Semaphore};

/// Most connections that are open at a time. A process may often have 1024 files open.
const MOST_CONNECTIONS: usize = 512;

/// Lets connections in while there is room.
#[derive(Clone, Debug)]
pub(super) struct Bounded<A> {
    within: A,
    room: Arc<Semaphore>,
}

impl<A> Bounded<A> {
    /// Puts the bound around whatever makes connections ready.
    pub(super) fn new(within: A) -> Self {
        Self::with_room_for(MOST_CONNECTIONS, within)
    }

    fn with_room_for(most: usize, within: A) -> Self {
        Self {
            within,
            room: Arc::new(Semaphore::new(most)),
        }
    }
}

impl<I, S, A> Accept<I, S> for Bounded<A>
where
    A: Accept<I, S>,
    A::Future: Send + 'static,
{
    type Stream = Held<A::Stream>;
    type Service = A::Service;
    type Future = Pin<Box<dyn Future<Output = io::Result<(Self::Stream, Self::Service)>> + Send>>;

    fn accept(&self, stream: I, service: S) -> Self::Future {
        let room = Arc::clone(&self.room).try_acquire_owned();
        let ready = self.within.accept(stream, service);
        Box::pin(async move {
            let room = room.map_err(|_| io::Error::other("too many connections"))?;
            let (stream, service) = ready.await?;
            Ok((Held { stream, _room: room }, service))
        })
    }
}

/// A connection with its share of the room.
#[derive(Debug)]
pub(super) struct Held<T> {
    stream: T,
    _room: OwnedSemaphorePermit,
}

impl<T: AsyncRead + Unpin> AsyncRead for Held<T> {
    fn poll_read(mut self: Pin<&mut Self>, cx: &mut Context<'_>, buf: &mut ReadBuf<'_>) -> Poll<io::Result<()>> {
        Pin::new(&mut self.stream).poll_read(cx, buf)
    }
}

impl<T: AsyncWrite + Unpin> AsyncWrite for Held<T> {
    fn poll_write(mut self: Pin<&mut Self>, cx: &mut Context<'_>, bytes: &[u8]) -> Poll<io::Result<usize>> {
        Pin::new(&mut self.stream).poll_write(cx, bytes)
    }

    fn poll_flush(mut self: Pin<&mut Self>, cx: &mut Context<'_>) -> Poll<io::Result<()>> {
        Pin::new(&mut self.stream).poll_flush(cx)
    }

    fn poll_shutdown(mut self: Pin<&mut Self>, cx: &mut Context<'_>) -> Poll<io::Result<()>> {
        Pin::new(&mut self.stream).poll_shutdown(cx)
    }

    fn poll_write_vectored(
        mut self: Pin<&mut Self>,
        cx: &mut Context<'_>,
        pieces: &[io::IoSlice<'_>],
    ) -> Poll<io::Result<usize>> {
        Pin::new(&mut self.stream).poll_write_vectored(cx, pieces)
    }

    fn is_write_vectored(&self) -> bool {
        self.stream.is_write_vectored()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use axum_server::accept::DefaultAcceptor;

    /// Connections that are held keep their room until they end, however they end; one beyond the bound is refused at once.
    #[tokio::test]
    async fn a_connection_has_room_until_it_ends() {
        let bounded = Bounded::with_room_for(2, DefaultAcceptor::new());
        let connect = || bounded.accept(tokio::io::duplex(1).0, ());
        let (first, second) = (connect().await.unwrap(), connect().await.unwrap());
        assert!(connect().await.is_err() && connect().await.is_err());
        drop(first);
        let third = connect().await.unwrap();
        assert!(connect().await.is_err());
        drop((second, third));
        assert!(connect().await.is_ok());
    }
}
