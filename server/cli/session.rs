//! Which data folder, and who works on it?

use std::future::Future;
use std::path::{Path, PathBuf};
use std::pin::Pin;

use anyhow::Context;
use axum::Router;
use tokio::runtime::Runtime;

use crate::core::Cancel;
use crate::jobs::{Engine, EngineConfig};
use crate::speech::ModelShelf;
use crate::store::Store;

use super::args::{Global, Serve};
use super::client::{Client, Server};
use super::error::{CliError, Outcome};
use super::interrupt;

/// An open data folder.
#[derive(Clone)]
pub struct Opened {
    /// The folder.
    pub data_dir: PathBuf,
    /// What is known.
    pub store: Store,
    /// Who works.
    pub engine: Engine,
    /// The speech models.
    pub models: ModelShelf,
    /// The one in use: its name or file.
    pub model: String,
}

/// What a server does when it has come to its end.
pub type Served<'a> = Pin<Box<dyn Future<Output = anyhow::Result<()>> + 'a>>;

/// What the command line needs of the network room. It is handed in, so that
/// nothing but `main.rs` knows that room.
pub trait Network {
    /// The server that works on a data folder now.
    fn running(&self, data_dir: &Path) -> Option<Server>;

    /// A new secret for the owner of a data folder.
    ///
    /// # Errors
    /// When the system has no randomness to give.
    fn new_token(&self) -> std::io::Result<String>;

    /// The routes on a data folder, for whoever shows `token`.
    fn router(&self, folder: &Opened, token: String) -> Router;

    /// Listens, calls `ready` with its address, and answers until SIGINT or
    /// SIGTERM.
    fn serve<'a>(
        &'a self,
        folder: &'a Opened,
        how: &'a Serve,
        ready: &'a dyn Fn(&str),
    ) -> Served<'a>;
}

/// What a command needs of a data folder.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Need {
    /// To read what is there; nothing is made where there is none.
    Look,
    /// To write into it, making it where there is none.
    Keep,
    /// The same, and to do what is queued.
    Work,
}

/// One command's connection to a data folder.
pub struct Session {
    client: Client,
    runtime: Runtime,
    /// The folder, where no server works on it.
    own: Option<Opened>,
}

impl Session {
    /// Goes through the server of the data folder if one runs; else opens the
    /// folder itself for what `need` says.
    ///
    /// # Errors
    /// When there is no folder to choose, none there to look at, or it cannot
    /// be opened.
    pub fn open(global: &Global, network: &dyn Network, need: Need) -> Result<Self, CliError> {
        let runtime = Runtime::new().context("cannot start threads")?;
        let data_dir = data_dir(global)?;
        if let Some(server) = network.running(&data_dir) {
            return Ok(Self {
                client: Client::of_server(server),
                runtime,
                own: None,
            });
        }
        if need == Need::Look && !Store::is_in(&data_dir) {
            return Err(no_folder(&data_dir).into());
        }
        let folder = runtime.block_on(open_folder(global, need == Need::Work))?;
        let token = network.new_token().context("cannot make a secret")?;
        let router = network.router(&folder, token.clone());
        Ok(Self {
            client: Client::of_router(router, token, runtime.handle().clone()),
            runtime,
            own: Some(folder),
        })
    }

    /// Whom to ask.
    #[must_use]
    pub fn client(&self) -> &Client {
        &self.client
    }

    /// Whether a server works on this folder.
    #[must_use]
    pub fn is_served(&self) -> bool {
        self.own.is_none()
    }

    /// A flag that Ctrl-C sets from now on.
    ///
    /// # Errors
    /// When the system refuses to report signals.
    pub fn on_interrupt(&self) -> Result<Cancel, CliError> {
        let cancel = interrupt::on_signal(self.runtime.handle());
        Ok(cancel.context("cannot listen for signals")?)
    }

    /// Lets go of the folder: running steps are put back into the queue, after
    /// what is left was done if `finish`.
    ///
    /// # Errors
    /// When the work is stuck.
    pub fn close(self, finish: bool) -> Result<(), CliError> {
        let Some(folder) = self.own else {
            return Ok(());
        };
        self.runtime.block_on(async {
            let finished = match finish {
                true => folder.engine.run_until_idle().await.map(drop),
                false => Ok(()),
            };
            folder.engine.shutdown().await;
            Ok(finished.map_err(anyhow::Error::new)?)
        })
    }
}

/// Opens the data folder and starts its engine; it works only if `works`.
///
/// # Errors
/// When the folder cannot be opened.
pub async fn open_folder(global: &Global, works: bool) -> Result<Opened, CliError> {
    let data_dir = data_dir(global)?;
    let store = Store::open(&data_dir).await.map_err(anyhow::Error::new)?;
    let models = ModelShelf::new(models_dir(global)?);
    let config = EngineConfig::new(models.dir().to_path_buf(), global.model().to_owned());
    let config = if works {
        config
    } else {
        config.without_workers()
    };
    let engine = Engine::start(store.clone(), config)
        .await
        .map_err(anyhow::Error::new)?;
    Ok(Opened {
        data_dir,
        store,
        engine,
        models,
        model: global.model().to_owned(),
    })
}

fn no_folder(data_dir: &Path) -> anyhow::Error {
    anyhow::anyhow!(
        "there is no data folder at '{}'; choose another with --data (SAYBACK_DATA), \
         or make this one with `sayback event new TITLE`",
        data_dir.display()
    )
}

/// Calls `work` with the folder of speech models and a flag that Ctrl-C sets.
///
/// # Errors
/// Those of `work`, or when there is no folder to choose.
pub fn with_model_shelf(
    global: &Global,
    work: impl FnOnce(&ModelShelf, &Cancel) -> Result<Outcome, CliError>,
) -> Result<Outcome, CliError> {
    let shelf = ModelShelf::new(models_dir(global)?);
    let runtime = Runtime::new().context("cannot start threads")?;
    let cancel = interrupt::on_signal(runtime.handle()).context("cannot listen for signals")?;
    work(&shelf, &cancel)
}

/// `--data` or `SAYBACK_DATA`, else `sayback` in the home of data.
///
/// # Errors
/// [`CliError::Usage`] without any home.
pub fn data_dir(global: &Global) -> Result<PathBuf, CliError> {
    let chosen = match &global.data {
        Some(dir) => dir.clone(),
        None => data_home("--data")?.join("sayback"),
    };
    let absolute = std::path::absolute(&chosen)
        .with_context(|| format!("cannot tell where '{}' is", chosen.display()))?;
    Ok(absolute)
}

fn models_dir(global: &Global) -> Result<PathBuf, CliError> {
    match &global.models {
        Some(dir) => Ok(dir.clone()),
        None => Ok(data_home("--models")?.join("sayback/models")),
    }
}

/// XDG Base Directory Specification: `$XDG_DATA_HOME`, which counts only when
/// absolute, else `~/.local/share`.
fn data_home(flag: &str) -> Result<PathBuf, CliError> {
    let absolute = |name| {
        let path = PathBuf::from(std::env::var_os(name)?);
        path.is_absolute().then_some(path)
    };
    absolute("XDG_DATA_HOME")
        .or_else(|| Some(absolute("HOME")?.join(".local/share")))
        .ok_or_else(|| CliError::Usage(format!("there is no HOME; choose a folder with {flag}")))
}
