//! Parse, run, exit code: joins the command line and the network, which do not
//! know each other.

use std::path::{Path, PathBuf};
use std::process::ExitCode;

use axum::Router;
use sayback::cli::{self, Network, Opened, Serve, Served, Server};
use sayback::http::{self, AppState, Bound, Settings, UploadLimits};

fn main() -> ExitCode {
    sayback::speech::keep_memory_small();
    cli::run(std::env::args_os(), &Http)
}

/// The network room, as the command line knows it.
struct Http;

impl Network for Http {
    fn running(&self, data_dir: &Path) -> Option<Server> {
        let file = http::running_server(data_dir)?;
        Some(Server {
            url: file.url,
            token: file.token,
        })
    }

    fn new_token(&self) -> std::io::Result<String> {
        http::new_token()
    }

    fn router(&self, folder: &Opened, token: String) -> Router {
        http::router(state(folder, token, &[], UploadLimits::default()))
    }

    fn serve<'a>(
        &'a self,
        folder: &'a Opened,
        how: &'a Serve,
        ready: &'a dyn Fn(&str),
    ) -> Served<'a> {
        Box::pin(async move {
            let limits = UploadLimits {
                max_bytes: how.max_upload_bytes,
                ..UploadLimits::default()
            };
            let state = state(folder, http::new_token()?, &how.roots, limits);
            let stop = cli::asked_to_stop()?;
            let bound = Bound::bind(state, how.listen).await?;
            ready(&bound.url());
            Ok(bound.run(stop).await?)
        })
    }
}

fn state(folder: &Opened, token: String, roots: &[PathBuf], limits: UploadLimits) -> AppState {
    let settings = Settings {
        data_dir: folder.data_dir.clone(),
        model: folder.model.clone(),
        roots: roots.to_vec(),
        token,
        limits,
    };
    AppState::new(
        folder.store.clone(),
        folder.engine.clone(),
        folder.models.clone(),
        settings,
    )
}
