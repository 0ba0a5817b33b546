//! `dawnslip galley`: a printer for people who have none. Listens where a printer would, puts
//! every paper as picture and text into a folder, and obeys plain words (see
//! [`crate::print::galley::control`]) on its standard input and, if asked for, on a port.

use crate::clock::{Clock, SystemClock};
use crate::print::galley::folder::{INDEX_FILE, SHEET_FILE, remove_older};
use crate::print::galley::{Cut, Galley, GalleyOptions, Paper, contact_sheet};
use jiff::SignedDuration;
use std::future::Future;
use std::io::{self, Write};
use std::net::SocketAddr;
use std::path::Path;
use std::sync::Arc;
use std::time::Duration;
use tokio::io::{AsyncBufReadExt, AsyncReadExt, AsyncWriteExt, BufReader};
use tokio::net::{TcpListener, TcpStream};
use tokio::sync::mpsc;

/// Where it listens if nothing is said: where printers do.
pub const LISTEN_DEFAULT: &str = "127.0.0.1:9100";
/// Longest line of the control protocol.
const LINE_BYTES_MAX: u64 = 200;
/// Old papers are looked for so often.
const TIDY_EVERY: Duration = Duration::from_secs(3600);
/// Lines that may wait.
const LINES_MAX: usize = 16;

/// What the command line asks for.
#[derive(Debug, Clone)]
pub struct Request {
    /// Where to listen for jobs.
    pub listen: SocketAddr,
    /// Where to listen for plain words, if at all. Whoever reaches it can spoil papers: loopback only.
    pub control: Option<SocketAddr>,
    /// What kind of printer, and the folder for its papers.
    pub options: GalleyOptions,
    /// Papers that were printed longer ago than so many days are removed from the folder.
    pub keep_days: u32,
}

/// The command could not be carried out.
#[derive(Debug, thiserror::Error)]
pub enum GalleyError {
    /// The port is taken or the address is not this machine's, or the folder cannot be made.
    #[error("could not start the galley at {address}; is another one running? try --listen 127.0.0.1:9101")]
    Start {
        /// Where.
        address: SocketAddr,
        /// Why not.
        #[source]
        cause: io::Error,
    },
    /// The control port must not be reachable from elsewhere.
    #[error("the control port {0} is reachable from other machines; use 127.0.0.1")]
    Open(SocketAddr),
    /// Something could not be written.
    #[error("could not write")]
    Write(#[from] io::Error),
    /// The contact sheet could not be made.
    #[error("could not make the contact sheet")]
    Sheet(#[from] crate::print::galley::PictureError),
}

/// Runs until `stop`; tells `out` of every paper, obeys the lines that come through `words`.
/// At the end all papers stand on one contact sheet in the folder.
///
/// # Errors
/// [`GalleyError`]; papers that came before remain in the folder.
pub async fn run(
    request: Request,
    out: &mut (impl Write + Send),
    mut words: mpsc::Receiver<String>,
    stop: impl Future<Output = ()> + Send,
) -> Result<(), GalleyError> {
    let address = request.listen;
    let start = |cause| GalleyError::Start { address, cause };
    let folder = request.options.out_dir.clone();
    let galley = Arc::new(Galley::start(address, request.options).await.map_err(start)?);
    let listening = galley.addr().unwrap_or(address);
    writeln!(out, "galley: listening on {listening}")?;
    if let Some(folder) = &folder {
        writeln!(out, "galley: papers go to {} (open {INDEX_FILE})", folder.display())?;
    }
    let control = match request.control {
        Some(port) if !port.ip().is_loopback() => return Err(GalleyError::Open(port)),
        Some(port) => {
            let listener =
                TcpListener::bind(port).await.map_err(|cause| GalleyError::Start { address: port, cause })?;
            writeln!(out, "galley: obeys plain words on {} (say help)", listener.local_addr()?)?;
            Some(listener)
        }
        None => None,
    };
    tokio::pin!(stop);
    let mut told = 0;
    let mut talks = tokio::task::JoinSet::new();
    let mut words_open = true;
    let mut tidy = tokio::time::interval(TIDY_EVERY);
    loop {
        tokio::select! {
            biased;
            () = &mut stop => break,
            _ = tidy.tick() => remove_old(folder.as_deref(), request.keep_days, out)?,
            papers = galley.wait_for(told + 1) => {
                for paper in papers.iter().filter(|paper| paper.number > told) {
                    writeln!(out, "{}", line_of(paper))?;
                }
                told = papers.last().map_or(told + 1, |paper| paper.number);
            }
            line = words.recv(), if words_open => match line {
                Some(line) => writeln!(out, "{}", galley.obey(&line).unwrap_or_else(|error| error))?,
                None => words_open = false,
            },
            Some(caller) = accept(control.as_ref()) => {
                talks.spawn(talk(galley.clone(), caller));
            }
        }
    }
    if let Some(folder) = folder {
        let pngs: Vec<_> = galley.papers().into_iter().map(|paper| paper.png).collect();
        if !pngs.is_empty() {
            let sheet = folder.join(SHEET_FILE);
            std::fs::write(&sheet, contact_sheet(&pngs)?)?;
            writeln!(out, "galley: {} papers on one sheet: {}", pngs.len(), sheet.display())?;
        }
    }
    Ok(())
}

/// Removes papers that are too old, and says so.
fn remove_old(folder: Option<&Path>, keep_days: u32, out: &mut impl Write) -> io::Result<()> {
    let Some(folder) = folder else { return Ok(()) };
    let kept = SignedDuration::from_hours(i64::from(keep_days) * 24);
    let Ok(before) = SystemClock.now().checked_sub(kept) else { return Ok(()) };
    match remove_older(folder, before) {
        Ok(0) => Ok(()),
        Ok(count) => writeln!(out, "galley: {count} papers older than {keep_days} days removed"),
        Err(error) => writeln!(out, "galley: old papers could not be removed: {error}"),
    }
}

/// A line for people about one paper.
fn line_of(paper: &Paper) -> String {
    let how = match paper.cut {
        Cut::Full => "cut",
        Cut::Partial => "cut, a bridge left",
        Cut::Torn => "torn off",
    };
    let blank = if paper.is_blank { ", blank" } else { "" };
    let file = paper.file.as_ref().map(|file| format!("  {}", file.display())).unwrap_or_default();
    let notes: String = paper.notes.iter().map(|note| format!("\n    note: {note}")).collect();
    format!("paper {}: {} rows, {how}{blank}{file}{notes}", paper.number, paper.rows)
}

async fn accept(listener: Option<&TcpListener>) -> Option<TcpStream> {
    match listener {
        // A caller that has gone again is none.
        Some(listener) => listener.accept().await.ok().map(|(stream, _)| stream),
        None => std::future::pending().await,
    }
}

/// One line in, one answer out, until the caller goes or talks too long.
async fn talk(galley: Arc<Galley>, stream: TcpStream) {
    let (read, mut write) = stream.into_split();
    let mut read = BufReader::new(read);
    loop {
        let mut line = Vec::new();
        let got = (&mut read).take(LINE_BYTES_MAX).read_until(b'\n', &mut line).await;
        let is_whole = line.ends_with(b"\n") || (line.len() as u64) < LINE_BYTES_MAX;
        if !matches!(got, Ok(count) if count > 0) || !is_whole {
            return;
        }
        let answer = galley.obey(&String::from_utf8_lossy(&line)).unwrap_or_else(|error| error);
        if write.write_all(format!("{answer}\n").as_bytes()).await.is_err() {
            return;
        }
    }
}

/// The lines of the standard input, as they are typed. Ends when it ends.
pub fn typed_words() -> mpsc::Receiver<String> {
    let (send, words) = mpsc::channel(LINES_MAX);
    // A thread of its own: reading a terminal cannot be interrupted, and must not hold up the end.
    std::thread::spawn(move || {
        for line in io::stdin().lines().map_while(Result::ok) {
            if !line.trim().is_empty() && send.blocking_send(line).is_err() {
                return;
            }
        }
    });
    words
}

#[cfg(test)]
mod tests {
    use super::*;

    /// What was told, readable while it is written.
    #[derive(Clone, Default)]
    struct Told(Arc<std::sync::Mutex<Vec<u8>>>);

    impl Write for Told {
        fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
            self.0.lock().unwrap().extend_from_slice(bytes);
            Ok(bytes.len())
        }
        fn flush(&mut self) -> io::Result<()> {
            Ok(())
        }
    }

    impl Told {
        fn text(&self) -> String {
            String::from_utf8(self.0.lock().unwrap().clone()).unwrap()
        }

        async fn wait_for(&self, words: &str) {
            for _ in 0..3000 {
                if self.text().contains(words) {
                    return;
                }
                tokio::time::sleep(Duration::from_millis(20)).await;
            }
            panic!("never told {words:?}: {}", self.text());
        }

        fn address(&self, before: &str) -> SocketAddr {
            let text = self.text();
            let rest = text.split_once(before).unwrap().1;
            rest.split_whitespace().next().unwrap().parse().unwrap()
        }
    }

    #[tokio::test]
    async fn a_person_without_a_printer_gets_pictures_texts_and_a_contact_sheet() {
        let folder = tempfile::tempdir().unwrap();
        let request = Request {
            listen: "127.0.0.1:0".parse().unwrap(),
            control: Some("127.0.0.1:0".parse().unwrap()),
            options: GalleyOptions { out_dir: Some(folder.path().join("papers")), ..GalleyOptions::default() },
            keep_days: 30,
        };
        let (told, mut out) = {
            let told = Told::default();
            (told.clone(), told)
        };
        let (words, said) = mpsc::channel(LINES_MAX);
        let (stop, stopped) = tokio::sync::oneshot::channel::<()>();
        let running =
            tokio::spawn(async move { run(request, &mut out, said, async { stopped.await.unwrap_or(()) }).await });
        told.wait_for("plain words").await;

        let mut control = TcpStream::connect(told.address("words on ")).await.unwrap();
        control.write_all(b"paper out\nmake tea\n").await.unwrap();
        let mut answer = [0; 32];
        control.read_exact(&mut answer).await.unwrap();
        assert_eq!(&answer, b"done: paper out\nnot understood: ");

        let mut client = TcpStream::connect(told.address("listening on ")).await.unwrap();
        client.write_all(b"hello\n\x1DVA\0").await.unwrap();
        words.send("load paper".to_owned()).await.unwrap();
        told.wait_for("paper 1: ").await;
        stop.send(()).unwrap();
        running.await.unwrap().unwrap();
        for name in ["paper-0001.png", "paper-0001.txt", INDEX_FILE, SHEET_FILE] {
            assert!(folder.path().join("papers").join(name).exists(), "{name}");
        }
    }

    #[tokio::test]
    async fn an_open_control_port_and_a_taken_port_are_refused() {
        let taken = TcpListener::bind("127.0.0.1:0").await.unwrap();
        let request = |listen: SocketAddr, control: &str| Request {
            listen,
            control: Some(control.parse().unwrap()),
            options: GalleyOptions::default(),
            keep_days: 30,
        };
        let cases = [
            (request("127.0.0.1:0".parse().unwrap(), "0.0.0.0:0"), "reachable from other machines"),
            (request(taken.local_addr().unwrap(), "127.0.0.1:0"), "is another one running"),
        ];
        for (request, expected) in cases {
            let (_words, said) = mpsc::channel(1);
            let error = run(request, &mut Told::default(), said, std::future::pending()).await.unwrap_err();
            assert!(error.to_string().contains(expected), "{error}");
        }
    }
}
