//! `cargo bench --bench sizes [-- NAMES]`: what models of the published sizes cost
//! on this machine, without having them: loading, encoder for each window of 30 s,
//! decoder for each token. `tiny` and `base` when none is named.
//!
//! The files are made here, of random numbers in the published layout, so only the
//! cost means anything; what such a model writes is nonsense. `THREADS=16` takes
//! another number of threads than the product. `SEVERAL=1` shows instead how many
//! windows several recognisers of one model get done together.

#[path = "words/processor.rs"]
mod processor;

use std::ffi::CStr;
use std::fs::File;
use std::hint::black_box;
use std::io::{self, BufWriter, Write};
use std::path::Path;
use std::time::{Duration, Instant};

use processor::processor_time;
use sayback::core::Cancel;
use sayback::speech::{Ask, Recogniser, Whisper, default_threads};
use whisper_rs::whisper_rs_sys as sys;
use whisper_rs::{WhisperContext, WhisperContextParameters};

/// The head of the table.
const ROW: &str = "model            bits   loading s   a state ms   encoder ms/window   decoder ms/token   70 tokens at once ms";
const SEVERAL: &str =
    "model            recognisers   threads of each   windows a minute   processor s/window";
/// Samples of a window of 30 s.
const WINDOW: usize = 30 * 16_000;
/// Tokens decoded one after the other: half of the most a pass may hold.
const TOKENS: usize = 70;
/// How often each is timed, unless that takes too long.
const TIMES: usize = 5;
const LONG_ENOUGH: Duration = Duration::from_secs(5);

/// The sizes that differ between the published models, all for many languages.
struct Size {
    name: &'static str,
    vocabulary: u32,
    state: u32,
    encoder: u32,
    decoder: u32,
    bands: u32,
}

/// What is measured when nothing is named: the others take minutes on a processor.
const USUAL: [&str; 2] = ["tiny", "base"];
const SIZES: [Size; 6] = [
    size("tiny", 51_865, 384, 4, 4, 80),
    size("base", 51_865, 512, 6, 6, 80),
    size("small", 51_865, 768, 12, 12, 80),
    size("medium", 51_865, 1024, 24, 24, 80),
    size("large-v3", 51_866, 1280, 32, 32, 128),
    size("large-v3-turbo", 51_866, 1280, 32, 4, 128),
];

const fn size(
    name: &'static str,
    vocabulary: u32,
    state: u32,
    encoder: u32,
    decoder: u32,
    bands: u32,
) -> Size {
    Size {
        name,
        vocabulary,
        state,
        encoder,
        decoder,
        bands,
    }
}

/// How the large matrices are stored: number of the file, of the tensor.
#[derive(Clone, Copy, PartialEq)]
enum Form {
    /// 16 bits, as published.
    Half = 1,
    /// 8 bits, as the product runs them.
    Eight = 7,
}

fn main() {
    let names: Vec<String> = std::env::args()
        .skip(1)
        .filter(|name| !name.starts_with('-'))
        .collect();
    for name in &names {
        let known = SIZES.map(|size| size.name);
        assert!(
            known.contains(&name.as_str()),
            "{name} is none of {}",
            known.join(", ")
        );
    }
    let wanted = |name: &str| match &names[..] {
        [] => USUAL.contains(&name),
        names => names.iter().any(|one| one == name),
    };
    let threads = std::env::var("THREADS")
        .ok()
        .and_then(|count| count.parse().ok())
        .unwrap_or_else(default_threads);
    whisper_rs::install_logging_hooks();
    println!("on {}; {threads} thread(s)", devices().join(", "));
    let several_at_once = std::env::var_os("SEVERAL").is_some();
    println!("{}", if several_at_once { SEVERAL } else { ROW });
    let folder = tempfile::tempdir().expect("a folder");
    for size in SIZES.iter().filter(|size| wanted(size.name)) {
        let file = folder.path().join("model.bin");
        if several_at_once {
            write(size, Form::Eight, &file).expect("room for a model");
            several(size, &file);
            continue;
        }
        for form in [Form::Half, Form::Eight] {
            write(size, form, &file).expect("room for a model");
            parts(size, form, &file, threads);
            if form == Form::Half {
                whole(&file, threads);
            }
        }
    }
}

/// The library alone.
fn parts(size: &Size, form: Form, file: &Path, threads: usize) {
    let start = Instant::now();
    let context = WhisperContext::new_with_params(file, WhisperContextParameters::default())
        .expect("a model");
    let loading = start.elapsed();
    let sound = noise(WINDOW);
    let state = median(|| {
        black_box(context.create_state().expect("a state"));
    });
    let mut running = context.create_state().expect("a state");
    running.pcm_to_mel(&sound, threads).expect("a spectrum");
    let encoder = median(|| running.encode(0, threads).expect("an encoding"));
    let tokens: Vec<i32> = (1_000..).take(TOKENS).collect();
    let single = median(|| {
        for (past, token) in tokens.iter().enumerate() {
            running
                .decode(&[*token], past, threads)
                .expect("a decoding");
        }
    });
    let together = median(|| running.decode(&tokens, 0, threads).expect("a decoding"));
    let ms = |took: Duration| took.as_secs_f64() * 1e3;
    println!(
        "{:<16}{:>5}{:>12.2}{:>13.1}{:>20.1}{:>19.2}{:>23.1}",
        size.name,
        if form == Form::Half { 16 } else { 8 },
        loading.as_secs_f64(),
        ms(state),
        ms(encoder),
        ms(single) / TOKENS as f64,
        ms(together),
    );
}

/// One model, several states at once, each with windows of a full encoder and as many
/// tokens as above.
fn several(size: &Size, file: &Path) {
    let cores = std::thread::available_parallelism().map_or(1, |cores| cores.get());
    let context = WhisperContext::new_with_params(file, WhisperContextParameters::default())
        .expect("a model");
    let sound = noise(WINDOW);
    let tokens: Vec<i32> = (1_000..).take(TOKENS).collect();
    let window = |threads: usize| {
        let mut state = context.create_state().expect("a state");
        state.pcm_to_mel(&sound, threads).expect("a spectrum");
        state.encode(0, threads).expect("an encoding");
        for (past, token) in tokens.iter().enumerate() {
            state.decode(&[*token], past, threads).expect("a decoding");
        }
        state.decode(&tokens, 0, threads).expect("a decoding");
    };
    for recognisers in [1, 2, 3, 4, 5, 7, 15] {
        for threads in [1, 2, 3, 4, 8] {
            if recognisers * threads > cores {
                continue;
            }
            let (before, start) = (processor_time(), Instant::now());
            let done: usize = std::thread::scope(|scope| {
                let one = || {
                    let mut done = 0;
                    while done == 0 || start.elapsed() < LONG_ENOUGH {
                        window(threads);
                        done += 1;
                    }
                    done
                };
                let all: Vec<_> = (0..recognisers).map(|_| scope.spawn(one)).collect();
                all.into_iter()
                    .map(|one| one.join().expect("windows"))
                    .sum()
            });
            println!(
                "{:<16}{recognisers:>12}{threads:>18}{:>19.1}{:>21.2}",
                size.name,
                done as f64 / start.elapsed().as_secs_f64() * 60.0,
                (processor_time() - before).as_secs_f64() / done as f64,
            );
        }
    }
}

/// The product on a window of noise: as random numbers are never sure of a word,
/// the dearest case, with a draft at each temperature.
fn whole(file: &Path, threads: usize) {
    let start = Instant::now();
    let mut whisper = Whisper::load(file, threads).expect("a model");
    let loading = start.elapsed();
    let sound = noise(WINDOW);
    let ask = Ask {
        language: Some("en".into()),
        ..Ask::default()
    };
    let start = Instant::now();
    let heard = whisper
        .recognise(&sound, &ask, &Cancel::new(), &mut |_| {})
        .expect("words");
    println!(
        "  the product: {:.2} s to load and turn into 8 bits; a window of noise, all drafts in vain: {:.2} s ({} words)",
        loading.as_secs_f64(),
        start.elapsed().as_secs_f64(),
        heard.len(),
    );
}

/// What the library can compute on, best first as it lists them.
#[allow(unsafe_code)]
fn devices() -> Vec<String> {
    // SAFETY: the library's list of devices is made at the first call and lives as
    // long as the process, its texts too.
    unsafe {
        (0..sys::ggml_backend_dev_count())
            .map(|index| sys::ggml_backend_dev_description(sys::ggml_backend_dev_get(index)))
            .map(|text| CStr::from_ptr(text).to_string_lossy().into_owned())
            .collect()
    }
}

/// The middle of up to [`TIMES`] runs, after one to warm up.
fn median(mut work: impl FnMut()) -> Duration {
    work();
    let begun = Instant::now();
    let mut took = Vec::new();
    while took.len() < TIMES && begun.elapsed() < LONG_ENOUGH {
        let start = Instant::now();
        work();
        took.push(start.elapsed());
    }
    took.sort();
    took[took.len() / 2]
}

/// White noise, a tenth of full scale.
fn noise(samples: usize) -> Vec<f32> {
    let mut random = Random(7);
    (0..samples)
        .map(|_| (random.next() >> 40) as f32 / (1 << 24) as f32 * 0.2 - 0.1)
        .collect()
}

/// Marsaglia's xorshift.
struct Random(u64);

impl Random {
    fn next(&mut self) -> u64 {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        self.0
    }
}

/// Writes a model file of such sizes (the layout: `server/speech/ggml.rs`).
fn write(size: &Size, form: Form, file: &Path) -> io::Result<()> {
    let mut out = Out {
        file: BufWriter::with_capacity(1 << 20, File::create(file)?),
        random: Random(1),
        form,
    };
    let (state, heads) = (size.state, size.state / 64);
    out.numbers(&[0x6767_6d6c, size.vocabulary, 1500, state, heads])?;
    out.numbers(&[size.encoder, 448, state, heads, size.decoder])?;
    out.numbers(&[size.bands, form as u32, size.bands, 201])?;
    for _ in 0..size.bands * 201 {
        out.file.write_all(&0.005_f32.to_le_bytes())?;
    }
    out.numbers(&[50_257])?;
    for token in 0..50_257 {
        // The library looks these up.
        let text = match token {
            220 => " ".to_owned(),
            221 => " -".to_owned(),
            222 => " '".to_owned(),
            token => format!(" {token}"),
        };
        out.numbers(&[text.len() as u32])?;
        out.file.write_all(text.as_bytes())?;
    }
    out.small("decoder.positional_embedding", &[state, 448])?;
    out.small("encoder.positional_embedding", &[state, 1500])?;
    out.large("decoder.token_embedding.weight", &[state, size.vocabulary])?;
    for layer in 0..size.decoder {
        let block = format!("decoder.blocks.{layer}");
        out.block(&block, &["attn", "cross_attn"], state)?;
    }
    out.norm("decoder.ln", state)?;
    out.half("encoder.conv1.weight", &[3, size.bands, state])?;
    out.small("encoder.conv1.bias", &[1, state])?;
    out.half("encoder.conv2.weight", &[3, state, state])?;
    out.small("encoder.conv2.bias", &[1, state])?;
    for layer in 0..size.encoder {
        out.block(&format!("encoder.blocks.{layer}"), &["attn"], state)?;
    }
    out.norm("encoder.ln_post", state)?;
    out.file.flush()
}

struct Out {
    file: BufWriter<File>,
    random: Random,
    form: Form,
}

impl Out {
    fn numbers(&mut self, numbers: &[u32]) -> io::Result<()> {
        numbers
            .iter()
            .try_for_each(|number| self.file.write_all(&number.to_le_bytes()))
    }

    fn head(&mut self, name: &str, dims: &[u32], kind: u32) -> io::Result<usize> {
        self.numbers(&[dims.len() as u32, name.len() as u32, kind])?;
        self.numbers(dims)?;
        self.file.write_all(name.as_bytes())?;
        Ok(dims.iter().map(|&dim| dim as usize).product())
    }

    /// 32 bits: 1 where a norm is scaled, else 0.
    fn small(&mut self, name: &str, dims: &[u32]) -> io::Result<()> {
        let values = self.head(name, dims, 0)?;
        let scale = name.contains("ln") && name.ends_with("weight");
        let value = f32::from(u8::from(scale)).to_le_bytes();
        (0..values).try_for_each(|_| self.file.write_all(&value))
    }

    /// 16 bits, up to a 32nd to either side of 0.
    fn half(&mut self, name: &str, dims: &[u32]) -> io::Result<()> {
        let values = self.head(name, dims, 1)?;
        for _ in 0..values / 4 {
            let four = self.random.next() & 0x83ff_83ff_83ff_83ff | 0x2400_2400_2400_2400;
            self.file.write_all(&four.to_le_bytes())?;
        }
        Ok(())
    }

    /// The same in this file's form.
    fn large(&mut self, name: &str, dims: &[u32]) -> io::Result<()> {
        if self.form == Form::Half {
            return self.half(name, dims);
        }
        let values = self.head(name, dims, 8)?;
        for _ in 0..values / 32 {
            // A scale of 2^-12, then 32 numbers of 8 bits.
            self.file.write_all(&0x0c00_u16.to_le_bytes())?;
            for _ in 0..4 {
                let eight = self.random.next().to_le_bytes();
                self.file.write_all(&eight)?;
            }
        }
        Ok(())
    }

    fn norm(&mut self, name: &str, state: u32) -> io::Result<()> {
        self.small(&format!("{name}.weight"), &[state])?;
        self.small(&format!("{name}.bias"), &[state])
    }

    fn linear(&mut self, name: &str, from: u32, to: u32) -> io::Result<()> {
        self.large(&format!("{name}.weight"), &[from, to])?;
        if name.ends_with("key") {
            return Ok(());
        }
        self.small(&format!("{name}.bias"), &[to])
    }

    fn block(&mut self, block: &str, attentions: &[&str], state: u32) -> io::Result<()> {
        self.norm(&format!("{block}.mlp_ln"), state)?;
        self.linear(&format!("{block}.mlp.0"), state, 4 * state)?;
        self.linear(&format!("{block}.mlp.2"), 4 * state, state)?;
        for attention in attentions {
            self.norm(&format!("{block}.{attention}_ln"), state)?;
            for part in ["query", "key", "value", "out"] {
                self.linear(&format!("{block}.{attention}.{part}"), state, state)?;
            }
        }
        Ok(())
    }
}
