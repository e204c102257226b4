//! `sayback serve`: work on what is queued, and answer.

use anyhow::Context;
use tokio::runtime::Runtime;

use super::args::{Global, Serve};
use super::error::{CliError, Outcome};
use super::session::{Network, data_dir, open_folder};
use super::show::{out, safe};

/// Serves a data folder until SIGINT or SIGTERM, then puts running steps back
/// into the queue.
///
/// # Errors
/// When another server works on the folder, or the address cannot be had.
pub fn run(global: &Global, how: &Serve, network: &dyn Network) -> Result<Outcome, CliError> {
    let dir = data_dir(global)?;
    if let Some(server) = network.running(&dir) {
        return Err(anyhow::anyhow!(
            "a server already works on '{}', at {}; stop it, or choose another folder with --data",
            dir.display(),
            server.url
        )
        .into());
    }
    let runtime = Runtime::new().context("cannot start threads")?;
    let served = runtime.block_on(async {
        let folder = open_folder(global, true).await?;
        let ready = |url: &str| {
            // With standard output closed the server is no worse a server.
            let _ = out(&format!(
                "sayback serves '{}' at {url}",
                safe(&dir.to_string_lossy())
            ));
        };
        let served = network.serve(&folder, how, &ready).await;
        folder.engine.shutdown().await;
        served
    });
    served?;
    Ok(Outcome::Done)
}
