//! Connections that are encrypted by the program itself: TLS 1.2 and 1.3.

use std::net::SocketAddr;
use std::path::Path;
use std::sync::Arc;
use std::time::Duration;

use axum::serve::Listener;
use tokio::net::{TcpListener, TcpStream};
use tokio::sync::{Semaphore, mpsc};
use tokio_rustls::TlsAcceptor;
use tokio_rustls::rustls::ServerConfig;
use tokio_rustls::rustls::crypto::ring;
use tokio_rustls::rustls::pki_types::pem::PemObject as _;
use tokio_rustls::rustls::pki_types::{CertificateDer, PrivateKeyDer};
use tokio_rustls::server::TlsStream;

/// So long a connection may take until it is encrypted.
const PATIENCE: Duration = Duration::from_secs(10);
/// Connections that are being made at once; more wait.
const AT_ONCE: usize = 100;
/// How long to wait when the system gives no more connections.
const PAUSE: Duration = Duration::from_millis(200);

/// Certificate and key, read and fitting together.
pub fn settings(certificate: &Path, key: &Path) -> Result<Arc<ServerConfig>, String> {
    let wrong = |path: &Path, why: String| format!("{}: {why}", path.display());
    let chain: Vec<CertificateDer<'static>> = CertificateDer::pem_file_iter(certificate)
        .and_then(Iterator::collect)
        .map_err(|error| wrong(certificate, error.to_string()))?;
    if chain.is_empty() {
        return Err(wrong(certificate, "it holds no certificate".to_owned()));
    }
    let private = PrivateKeyDer::from_pem_file(key).map_err(|error| wrong(key, error.to_string()))?;
    let built = ServerConfig::builder_with_provider(Arc::new(ring::default_provider()))
        .with_safe_default_protocol_versions()
        .map_err(|error| error.to_string())?
        .with_no_client_auth()
        .with_single_cert(chain, private);
    let mut settings = built.map_err(|error| format!("certificate and key do not fit together: {error}"))?;
    settings.alpn_protocols = vec![b"http/1.1".to_vec()];
    Ok(Arc::new(settings))
}

/// Connections that are encrypted already.
pub struct Encrypted {
    arriving: mpsc::Receiver<(TlsStream<TcpStream>, SocketAddr)>,
    address: SocketAddr,
}

impl Encrypted {
    /// Takes connections from a listener; has to be called where tasks can be started.
    pub fn on(listener: TcpListener, address: SocketAddr, settings: Arc<ServerConfig>) -> Self {
        let (ready, arriving) = mpsc::channel(AT_ONCE);
        let acceptor = TlsAcceptor::from(settings);
        let places = Arc::new(Semaphore::new(AT_ONCE));
        tokio::spawn(async move {
            while !ready.is_closed() {
                let Ok(place) = Arc::clone(&places).acquire_owned().await else { return };
                let (stream, from) = match listener.accept().await {
                    Ok(arrived) => arrived,
                    Err(_) => {
                        // Too many files are open, or the other side is gone already: both pass.
                        tokio::time::sleep(PAUSE).await;
                        continue;
                    }
                };
                let (acceptor, ready) = (acceptor.clone(), ready.clone());
                // Each by itself: whoever is slow, or speaks no TLS, keeps nobody else waiting.
                tokio::spawn(async move {
                    if let Ok(Ok(stream)) = tokio::time::timeout(PATIENCE, acceptor.accept(stream)).await {
                        _ = ready.send((stream, from)).await;
                    }
                    drop(place);
                });
            }
        });
        Self { arriving, address }
    }
}

impl Listener for Encrypted {
    type Io = TlsStream<TcpStream>;
    type Addr = SocketAddr;

    async fn accept(&mut self) -> (Self::Io, Self::Addr) {
        match self.arriving.recv().await {
            Some(arrived) => arrived,
            // The task that takes connections has ended, which it does only after this one.
            None => std::future::pending().await,
        }
    }

    fn local_addr(&self) -> std::io::Result<SocketAddr> {
        Ok(self.address)
    }
}
