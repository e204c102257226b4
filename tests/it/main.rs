//! The product as its users meet it, and what no one here wrote to hold it
//! against. One binary: one link.

mod app;
mod bad_input_media;
mod browser;
mod cli;
mod clock;
mod clock_dsp;
mod detect;
mod docker;
mod export;
mod http;
mod http_audio;
mod http_cancel;
mod http_clock;
mod http_contract;
mod http_coverage;
mod http_fixes;
mod http_levels;
mod http_names;
mod http_openapi;
mod http_people;
mod http_search;
mod http_upload;
mod http_work;
mod kill;
mod landing;
mod meaning;
mod media;
mod models;
mod page;
mod queue;
mod scene;
mod speech;
mod store;
mod tidy;
mod voices;
