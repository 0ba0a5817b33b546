//! Figures in the OpenMetrics text that Prometheus reads. Nothing about persons.

use super::status::status;
use super::{CountedKind, ReadState};
use jiff::Timestamp;
use prometheus_client::collector::Collector;
use prometheus_client::encoding::{DescriptorEncoder, EncodeMetric};
use prometheus_client::metrics::MetricType;
use prometheus_client::metrics::counter::ConstCounter;
use prometheus_client::metrics::gauge::ConstGauge;
use prometheus_client::registry::Registry;
use std::collections::BTreeMap;
use std::fmt;

/// All figures at one instant.
///
/// # Errors
/// Where the text cannot be written (never for a string, but the writer says so).
pub fn text(read: &ReadState, now: Timestamp) -> Result<String, fmt::Error> {
    let mut registry = Registry::with_prefix("dawnslip");
    registry.register_collector(Box::new(Figures(figures(read, now))));
    let mut text = String::new();
    prometheus_client::encoding::text::encode(&mut text, &registry)?;
    Ok(text)
}

/// One figure with all its rows.
#[derive(Debug)]
struct Figure {
    help: &'static str,
    kind: CountedKind,
    rows: Vec<(Vec<(&'static str, String)>, i64)>,
}

#[derive(Debug)]
struct Figures(BTreeMap<&'static str, Figure>);

impl Figures {
    fn row(
        figures: &mut BTreeMap<&'static str, Figure>,
        name: &'static str,
        help: &'static str,
        kind: CountedKind,
        labels: Vec<(&'static str, String)>,
        value: i64,
    ) {
        let figure = figures.entry(name).or_insert_with(|| Figure { help, kind, rows: Vec::new() });
        figure.rows.push((labels, value));
    }
}

impl Collector for Figures {
    fn encode(&self, mut encoder: DescriptorEncoder) -> fmt::Result {
        for (name, figure) in &self.0 {
            let kind = match figure.kind {
                CountedKind::Counter => MetricType::Counter,
                CountedKind::Gauge => MetricType::Gauge,
            };
            let mut metric = encoder.encode_descriptor(name, figure.help, None, kind)?;
            for (labels, value) in &figure.rows {
                let labels: Vec<(&str, &str)> = labels.iter().map(|(name, value)| (*name, value.as_str())).collect();
                let row = metric.encode_family(&labels)?;
                match figure.kind {
                    CountedKind::Counter => ConstCounter::new(value.unsigned_abs()).encode(row)?,
                    CountedKind::Gauge => ConstGauge::new(*value).encode(row)?,
                }
            }
        }
        Ok(())
    }
}

fn figures(read: &ReadState, now: Timestamp) -> BTreeMap<&'static str, Figure> {
    let mut all = BTreeMap::new();
    let status = status(read, now);
    let gauge = |all: &mut BTreeMap<_, _>, name, help, labels, value: usize| {
        Figures::row(all, name, help, CountedKind::Gauge, labels, i64::try_from(value).unwrap_or(i64::MAX));
    };
    let orders = status.orders;
    for (stage, count) in [
        ("received", orders.received),
        ("planned", orders.planned),
        ("printed", orders.printed),
        ("packed", orders.packed),
    ] {
        gauge(&mut all, "open_orders", "Open orders by stage", vec![("stage", stage.to_owned())], count);
    }
    for (stop, count) in [("needs_you", orders.needs_you), ("held", orders.held), ("waiting", orders.waiting)] {
        gauge(&mut all, "stopped_orders", "Open orders by stop", vec![("stop", stop.to_owned())], count);
    }
    let papers = status.papers;
    for (state, count) in [("queued", papers.queued), ("sending", papers.sending), ("uncertain", papers.uncertain)] {
        gauge(&mut all, "papers", "Papers that are not on paper, by state", vec![("state", state.to_owned())], count);
    }
    gauge(&mut all, "things", "Things that need a person", Vec::new(), status.things.len());
    for printer in &read.printers {
        let labels = vec![("printer", printer.printer.to_string())];
        let works = usize::from(printer.trouble.is_none());
        gauge(&mut all, "printer_works", "1 where nothing is the matter with a printer", labels, works);
    }
    let lag = read.index.written.saturating_sub(read.index.indexed);
    gauge(&mut all, "index_lag_facts", "Facts that the index does not know yet", Vec::new(), lag as usize);
    gauge(&mut all, "facts", "Number of the last fact", Vec::new(), read.state.seq as usize);
    for (source, shop) in &read.state.shops {
        if let Some(at) = shop.last_message {
            let labels = vec![("source", source.to_string())];
            let seconds = usize::try_from(at.as_second()).unwrap_or(0);
            gauge(&mut all, "last_message_seconds", "Unix time of the last message of a shop", labels, seconds);
        }
    }
    for counted in &read.counted {
        let value = i64::try_from(counted.value).unwrap_or(i64::MAX);
        Figures::row(&mut all, counted.name, counted.help, counted.kind, counted.labels.clone(), value);
    }
    all
}
