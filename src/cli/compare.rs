//! `dawnslip compare`.

use super::screen::{Fault, Screen};
use super::wiring::{fault, on_large_stack, workshop};
use super::{Ended, Folders, Outcome, compare_orders, crew};
use crate::clock::{Clock, SystemClock};
use crate::config::{Colour, with_candidates};
use crate::model::{Money, Workshop, daytime};
use crate::plan::compare::{Change, Comparison, Dated, Days, Job, Pool, Situation, best_boxes, chart, run};
use jiff::civil::Date;
use std::num::NonZeroUsize;
use std::path::{Path, PathBuf};

/// A file of candidates is read up to this size.
const CANDIDATES_BYTES_MAX: u64 = 1024 * 1024;

/// What other contracts, boxes or prices would have cost
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Plans all past orders, or those of a file, once as things are today and once for each
thing that you name, and holds the sums against each other: the costs, the parcels, and
who changes from what to what. Nothing is kept. Everything counts as on the shelf.

Each order counts with the prices of its own day: the day for which it was planned last,
else the day on which it was placed, else today. On that day a service takes no more
parcels than it does in life (per_day). A price of which the configuration knows no more,
or not yet, on that day takes no order: --on DATE puts all orders on one day instead.

  dawnslip compare --contract 'better rates'      would the dearer contract pay?
  dawnslip compare --contract 'better rates' --contract-costs '12 EUR'
  dawnslip compare --without-service Skipper --without-container Large
  dawnslip compare --boxes 2 --boxes 3            which 2, which 3 of your boxes do best?
  dawnslip compare --boxes 3 --candidates new-boxes.toml --chart boxes.svg
  dawnslip compare orders.ndjson --source shop --on 2026-12-01 --prices-from 2027-01-01
  dawnslip compare --contract 'better rates' --without-service Skipper --together

FILE holds messages as for dawnslip intake, or is an export (dawnslip export FILE).
Candidates stand in a file as in packaging.toml, [container.NAME]. Where a service or a
mailer names the containers that it takes, say which of yours a new one is taken like:
  [taken_like]
  Cube = \"Medium\"
--boxes chooses among own boxes; mailers, envelopes and the carrier's own stay.")]
pub struct Compare {
    /// Orders: a shop's messages or an export, - for standard input; left out: the past orders
    #[arg(value_name = "FILE")]
    file: Option<PathBuf>,
    /// The source whose mapping reads FILE
    #[arg(long, value_name = "SOURCE", requires = "file")]
    source: Option<String>,
    /// With this contract
    #[arg(long, value_name = "NAME")]
    contract: Vec<String>,
    /// What it costs over all these orders; for several, in the same order
    #[arg(long, value_name = "AMOUNT", requires = "contract")]
    contract_costs: Vec<Money>,
    /// Without this contract, which you have
    #[arg(long, value_name = "NAME")]
    without_contract: Vec<String>,
    /// Without this service
    #[arg(long, value_name = "NAME")]
    without_service: Vec<String>,
    /// Without this container
    #[arg(long, value_name = "NAME")]
    without_container: Vec<String>,
    /// All orders on this day, rather than each on its own
    #[arg(long, value_name = "DATE")]
    on: Option<Date>,
    /// With the prices of that day for all orders
    #[arg(long, value_name = "DATE")]
    prices_from: Vec<Date>,
    /// With the best K of the box sizes
    #[arg(long, value_name = "K")]
    boxes: Vec<NonZeroUsize>,
    /// More box sizes to choose from
    #[arg(long, value_name = "FILE", requires = "boxes")]
    candidates: Option<PathBuf>,
    /// All that is named at once, rather than one after the other
    #[arg(long)]
    together: bool,
    /// Draw the costs into this file
    #[arg(long, value_name = "FILE.svg")]
    chart: Option<PathBuf>,
    /// Threads; left out: one a core
    #[arg(long, value_name = "N")]
    threads: Option<NonZeroUsize>,
}

/// What a situation changes, and of how many boxes it wants the best.
type Wanted = (Vec<Change>, Option<NonZeroUsize>);

impl Compare {
    /// Reads the orders, plans them in each situation, tells.
    pub fn run(self, at: &Folders, screen: &Screen) -> Ended {
        let workshop = workshop(at)?;
        let now = daytime::date_of(&workshop.zone, SystemClock.now());
        let today = Situation::today(&workshop, self.on.map_or(Days::Own(now), Days::One));
        let wanted = self.wanted(&workshop)?;
        // What was mistyped is told before anything is planned.
        let mut bases: Vec<(Situation, Option<NonZeroUsize>)> = Vec::new();
        for (changes, boxes) in wanted {
            bases.push((today.with(&changes).map_err(|error| not_compared(&error))?, boxes));
        }
        let orders = self.orders(at, &workshop, screen)?;
        let threads = self.threads.or_else(|| std::thread::available_parallelism().ok()).map_or(1, usize::from);
        let mut situations = vec![today];
        for (base, boxes) in bases {
            situations.push(match boxes {
                None => base,
                Some(asked) => self.with_best_boxes(&base, asked.get(), &orders, threads, screen)?,
            });
        }
        let mut crew = |jobs: &[Job<'_>]| crew::work(jobs, threads, "planning", screen);
        let comparison = on_large_stack(|| run(&orders, &situations, &mut crew))??;
        if let Some(file) = &self.chart {
            draw(file, &comparison, &workshop)?;
        }
        screen.say(&if at.json { format!("{:#}", comparison.json()) } else { comparison.text() });
        if let (Some(file), false) = (&self.chart, at.json) {
            screen.say(&format!("drawn: {}", file.display()));
        }
        Ok(Outcome::Well)
    }

    /// The situations that were asked for.
    fn wanted(&self, workshop: &Workshop) -> Result<Vec<Wanted>, Fault> {
        let costs = &self.contract_costs;
        if !costs.is_empty() && costs.len() != self.contract.len() {
            let why = format!("{} of them, and {} costs", self.contract.len(), costs.len());
            return Err(Fault::new(
                "each contract needs its costs",
                why,
                "name as many --contract-costs as --contract",
            ));
        }
        if let Some(money) = costs.iter().find(|money| money.currency != workshop.currency) {
            let remedy = format!("write it in {}", workshop.currency);
            return Err(Fault::new(format!("{money} is another currency than the workshop's"), "", remedy));
        }
        if let Some(file) = self.chart.as_ref().filter(|file| file.extension().is_none_or(|end| end != "svg")) {
            let what = format!("{} cannot be drawn", file.display());
            return Err(Fault::new(what, "charts are drawn as SVG", "name a file that ends in .svg"));
        }
        let cost = |index: usize| costs.get(index).copied();
        let contracts = self.contract.iter().enumerate().map(|(at, name)| Change::Contract(name.clone(), cost(at)));
        let changes: Vec<Change> = contracts
            .chain(self.without_contract.iter().cloned().map(Change::WithoutContract))
            .chain(self.without_service.iter().cloned().map(Change::WithoutService))
            .chain(self.without_container.iter().cloned().map(Change::WithoutContainer))
            .chain(self.prices_from.iter().copied().map(Change::PricesOf))
            .collect();
        if changes.is_empty() && self.boxes.is_empty() {
            return Err(not_compared(&crate::plan::compare::CompareError::NoChange));
        }
        let boxes = self.boxes.iter().copied().map(Some);
        Ok(if !self.together {
            let each = changes.into_iter().map(|change| (vec![change], None));
            each.chain(boxes.map(|asked| (Vec::new(), asked))).collect()
        } else if self.boxes.is_empty() {
            vec![(changes, None)]
        } else {
            boxes.map(|asked| (changes.clone(), asked)).collect()
        })
    }

    fn orders(&self, at: &Folders, workshop: &Workshop, screen: &Screen) -> Result<Vec<Dated>, Fault> {
        let orders = match &self.file {
            Some(file) => compare_orders::of_file(file, self.source.as_deref(), workshop, screen)?,
            None => compare_orders::past(at, workshop, screen)?,
        };
        if orders.is_empty() {
            let remedy = match &self.file {
                Some(_) => "name a file with orders, or the shop whose mapping reads it: --source NAME",
                None => "name a file with orders: dawnslip compare FILE",
            };
            return Err(Fault::new(crate::plan::compare::CompareError::NoOrders.to_string(), "", remedy));
        }
        Ok(orders)
    }

    fn with_best_boxes(
        &self,
        base: &Situation,
        asked: usize,
        orders: &[Dated],
        threads: usize,
        screen: &Screen,
    ) -> Result<Situation, Fault> {
        let all = match &self.candidates {
            None => base.workshop.clone(),
            Some(file) => {
                let name = file.display().to_string();
                let text = read_text(file)?;
                with_candidates(&base.workshop, &name, &text).map_err(|complaints| {
                    eprint!("{}", complaints.render(Colour::Plain));
                    Fault::new(format!("{name} has mistakes"), "", "correct what is told above")
                })?
            }
        };
        let pool = Pool::of(&all, asked).map_err(|error| not_compared(&error))?;
        let doing = format!("seeking the best {asked} of {} boxes", pool.names.len());
        let mut crew = |jobs: &[Job<'_>]| crew::work(jobs, threads, &doing, screen);
        let best = on_large_stack(|| best_boxes(orders, base, &pool, asked, &mut crew))??;
        Ok(base.with_boxes(&pool, best))
    }
}

fn not_compared(error: &crate::plan::compare::CompareError) -> Fault {
    fault("that cannot be compared", error, "see dawnslip compare --help")
}

fn read_text(file: &Path) -> Result<String, Fault> {
    use std::io::Read;
    let mut text = String::new();
    let read = std::fs::File::open(file).and_then(|file| file.take(CANDIDATES_BYTES_MAX).read_to_string(&mut text));
    let what = format!("{} cannot be read", file.display());
    read.map_err(|error| fault(&what, &error, "name a TOML file with containers"))?;
    Ok(text)
}

fn draw(file: &Path, comparison: &Comparison, workshop: &Workshop) -> Result<(), Fault> {
    let what = format!("{} was not written", file.display());
    let written = std::fs::write(file, chart::svg(comparison, &workshop.name));
    written.map_err(|error| fault(&what, &error, "name a file in a folder that you may write to"))
}
