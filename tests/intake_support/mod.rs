//! A listener on loopback with a receiver that keeps messages in memory, and a raw client.
#![allow(dead_code, reason = "each test file uses its own part of this")]

use dawnslip::book::{Answer, Busy, Meaning, MessageOutcome, Novelty, Received};
use dawnslip::intake::listener::{Counters, Intake, Pending, Receiver, Stopped};
use dawnslip::intake::mapping::Mapper;
use dawnslip::intake::secret::SecretBytes;
use dawnslip::intake::sender::{Envelope, Sender, Target, Told};
use dawnslip::intake::sources::{OpenSource, SourceTable, Sources};
use dawnslip::model::*;
use jiff::{SignedDuration, Timestamp};
use std::collections::BTreeMap;
use std::sync::{Arc, Mutex};
use std::time::Duration;
use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::net::{TcpListener, TcpStream};
use tokio::sync::{Notify, oneshot};
use tokio::task::JoinHandle;
use tokio::time::timeout;

pub const SHOP_SECRET: &str = "whsec_AAECAwQFBgcICQoLDA0ODxAREhMUFRYXGBkaGxwdHh8=";
pub const FAIR_SECRET: &str = "shared secret for tests only";

/// How the receiver behaves.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Mood {
    Keeps,
    Refuses(Busy),
    Panics,
    /// Keeps only after [`Shelf::go_on`] was notified.
    Waits,
}

/// Keeps messages in memory.
pub struct Shelf {
    pub mood: Mutex<Mood>,
    pub kept: Mutex<BTreeMap<MessageKey, Received>>,
    pub go_on: Notify,
}

impl Shelf {
    pub fn set(&self, mood: Mood) {
        *self.mood.lock().unwrap() = mood;
    }
    pub fn count(&self) -> usize {
        self.kept.lock().unwrap().len()
    }
    fn keep(&self, received: Received) -> Answer {
        let outcome = match &received.meaning {
            Meaning::Orders(orders) => {
                MessageOutcome::Orders(orders.iter().map(|(order, _)| order.key.clone()).collect())
            }
            Meaning::NotAnOrder => MessageOutcome::NotAnOrder,
            Meaning::Unmappable { .. } => MessageOutcome::Unmappable,
        };
        let before = self.kept.lock().unwrap().insert(received.message.clone(), received);
        Answer::Kept { novelty: if before.is_some() { Novelty::Known } else { Novelty::New }, outcome }
    }
}

struct Hand(Arc<Shelf>);

impl Receiver for Hand {
    fn receive(&self, received: Received) -> Pending {
        let shelf = self.0.clone();
        Box::pin(async move {
            let mood = *shelf.mood.lock().unwrap();
            match mood {
                Mood::Keeps => {}
                Mood::Refuses(busy) => return Err(busy),
                Mood::Panics => panic!("as the test wants it"),
                Mood::Waits => shelf.go_on.notified().await,
            }
            Ok(shelf.keep(received))
        })
    }
}

/// A listener that runs.
pub struct Running {
    pub target: Target,
    pub address: std::net::SocketAddr,
    pub shelf: Arc<Shelf>,
    pub sources: Arc<Sources>,
    pub counters: Arc<Counters>,
    stop: Option<oneshot::Sender<()>>,
    served: JoinHandle<Stopped>,
}

pub fn limits() -> Limits {
    Limits {
        body_bytes: 64 * 1024,
        header_time: SignedDuration::from_secs(5),
        body_time: SignedDuration::from_secs(5),
        connections: 64,
        per_minute: 6000,
    }
}

pub fn shop_scheme() -> Scheme {
    Scheme::StandardWebhooks { tolerance: SignedDuration::from_secs(300) }
}
pub fn fair_scheme() -> Scheme {
    Scheme::BodyHmac(BodyHmac {
        header: "fair-signature".into(),
        encoding: SignatureEncoding::Hex,
        prefix: "sha256=".into(),
        timestamp: None,
        template: None,
        id_header: None,
    })
}
pub fn secret(scheme: &Scheme, text: &str) -> SecretBytes {
    SecretBytes::read(scheme, text.as_bytes()).unwrap()
}

pub fn source(name: &str, scheme: Scheme, secrets: &[&str], payload: Payload) -> OpenSource {
    let source = Source {
        name: name.into(),
        scheme: scheme.clone(),
        secrets: Vec::new(),
        payload,
        gapless_prefix: None,
        printer: None,
        print: None,
    };
    OpenSource {
        name: name.into(),
        secrets: secrets.iter().map(|text| secret(&scheme, text)).collect(),
        scheme,
        mapper: Mapper::compile(&source).unwrap().with_services(&[collect()]),
    }
}

pub fn stall_scheme() -> Scheme {
    Scheme::BodyHmac(BodyHmac {
        header: "stall-signature".into(),
        encoding: SignatureEncoding::Base64,
        prefix: String::new(),
        timestamp: Some(("stall-time".into(), SignedDuration::from_secs(300))),
        template: Some("{id}.{timestamp}.{body}".into()),
        id_header: Some("stall-message".into()),
    })
}

/// The fair's form of JSON: one sale a message, prices in cents. As in `config/sources.toml`.
pub fn fair_payload() -> Payload {
    let path = |text: &str| Some(text.to_owned());
    Payload::Mapped(Box::new(Mapping {
        order: path("/sale"),
        only_if: path("/sale"),
        number: "/ref".into(),
        revision: path("/rev"),
        placed: path("/at"),
        cancelled: path("/withdrawn"),
        lines: "/goods".into(),
        line: LineMapping {
            sku: "/code".into(),
            name: path("/label"),
            quantity: path("/count"),
            unit_price: path("/each"),
            skip: path("/kind"),
            skip_values: vec!["tip".into(), "voucher".into(), "download".into()],
        },
        recipient: vec!["/to/name".into()],
        buyer: vec!["/by/name".into()],
        street: vec!["/to/lines".into()],
        locality: path("/to/town"),
        region: path("/to/county"),
        postcode: path("/to/code"),
        country: path("/to/land"),
        email: path("/by/mail"),
        phone: path("/by/phone"),
        language: path("/by/tongue"),
        gift: path("/present/is"),
        hide_buyer: path("/present/secret"),
        gift_message: path("/present/words"),
        wish: path("/wish"),
        service: path("/travels"),
        total: path("/sum"),
        currency: path("/currency"),
        prices_minor: true,
        not_before: path("/not_before"),
        ..Mapping::default()
    }))
}

/// The stall's form of JSON: several tickets a message, decimal prices as text. As in
/// `config/sources.toml`.
pub fn stall_payload() -> Payload {
    let path = |text: &str| Some(text.to_owned());
    Payload::Mapped(Box::new(Mapping {
        order: path("$.tickets[*]"),
        only_if: path("/tickets"),
        number: "/no".into(),
        revision: path("/changed"),
        placed: path("/taken"),
        cancelled: path("/state"),
        cancelled_values: vec!["called off".into()],
        lines: "$.basket[*]".into(),
        line: LineMapping {
            sku: "/sku".into(),
            name: path("/title"),
            quantity: path("/qty"),
            unit_price: path("/price"),
            skip: path("/type"),
            skip_values: vec!["voucher".into(), "download".into()],
        },
        recipient: vec!["/ship/first".into(), "/ship/last".into()],
        buyer: vec!["/guest/first".into(), "/guest/last".into()],
        street: vec!["/ship/street".into(), "/ship/street2".into()],
        postcode: path("/ship/postcode"),
        locality: path("/ship/place"),
        country: path("/ship/country"),
        email: path("/guest/email"),
        language: path("/language"),
        gift: path("/gift"),
        gift_message: path("/gift/text"),
        wish: path("/remark"),
        service: path("/ship/how"),
        total: path("/total"),
        currency: path("/currency"),
        ..Mapping::default()
    }))
}

/// A service that is fetched.
pub fn collect() -> Service {
    Service { asked_as: vec!["quay".into()], only_when_asked: true, collect: true, ..Service::plain("collect") }
}

pub fn table(shop_secrets: &[&str], limits: Limits) -> SourceTable {
    let shop = source("shop", shop_scheme(), shop_secrets, Payload::SchemaOrg);
    let fair = source("fair", fair_scheme(), &[FAIR_SECRET], fair_payload());
    let stall = source("stall", stall_scheme(), &[FAIR_SECRET], stall_payload());
    SourceTable::new([shop, fair, stall], limits, [1; 32], Currency::EUR)
}

impl Running {
    pub async fn start(limits: Limits) -> Self {
        let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
        let address = listener.local_addr().unwrap();
        let shelf = Arc::new(Shelf { mood: Mutex::new(Mood::Keeps), kept: Mutex::default(), go_on: Notify::new() });
        let sources = Arc::new(Sources::new(table(&[SHOP_SECRET], limits)));
        let intake = Intake::new(sources.clone(), Arc::new(Hand(shelf.clone())), Arc::new(Timestamp::now));
        let counters = intake.counters();
        let (stop, stopped) = oneshot::channel();
        let grace = Duration::from_secs(2);
        let served = tokio::spawn(intake.serve(listener, async { drop(stopped.await) }, grace));
        Self { target: address.into(), address, shelf, sources, counters, stop: Some(stop), served }
    }
    /// Begins to stop.
    pub fn begin_to_stop(&mut self) {
        self.stop.take().unwrap().send(()).unwrap();
    }
    /// Waits until it has stopped.
    pub async fn stopped(self) -> Stopped {
        timeout(Duration::from_secs(10), self.served).await.unwrap().unwrap()
    }
    pub fn sender(&self) -> Sender {
        Sender::new(self.target.clone())
    }
    /// Sends one signed message on a connection of its own.
    pub async fn send(&self, envelope: &Envelope) -> Told {
        self.sender().send(envelope).await.unwrap()
    }
    pub async fn connect(&self) -> TcpStream {
        TcpStream::connect(self.address).await.unwrap()
    }
    /// Sends raw bytes, closes the writing side, and reads all that comes back.
    pub async fn raw(&self, bytes: &[u8]) -> String {
        let mut stream = self.connect().await;
        // The other side may refuse before it has read everything.
        let _ = stream.write_all(bytes).await;
        let _ = stream.shutdown().await;
        rest(&mut stream).await
    }
    /// An honest sender is served at once, whatever the others do.
    #[track_caller]
    pub fn honest(&self, id: &str) -> impl Future<Output = ()> {
        let mut sender = self.sender();
        let envelope = shop(id, &order("S-1"));
        async move {
            let told = timeout(Duration::from_secs(3), sender.send(&envelope)).await.expect("served in time").unwrap();
            assert!(matches!(told.status, 200 | 202), "{told:?}");
        }
    }
}

/// All that comes until the other side closes.
pub async fn rest(stream: &mut TcpStream) -> String {
    let mut bytes = Vec::new();
    let _ = timeout(Duration::from_secs(10), stream.read_to_end(&mut bytes)).await.expect("an end");
    String::from_utf8_lossy(&bytes).into_owned()
}

pub fn shop(id: &str, body: &str) -> Envelope {
    shop_bytes(id, body.as_bytes())
}
pub fn shop_bytes(id: &str, body: &[u8]) -> Envelope {
    let scheme = shop_scheme();
    let secret = secret(&scheme, SHOP_SECRET);
    Envelope::signed(&"shop".into(), &scheme, &secret, id, Timestamp::now(), body.to_vec())
}
pub fn fair(body: &str) -> Envelope {
    let scheme = fair_scheme();
    let secret = secret(&scheme, FAIR_SECRET);
    Envelope::signed(&"fair".into(), &scheme, &secret, "", Timestamp::now(), body.as_bytes().to_vec())
}

/// A complete order in schema.org's words.
pub fn order(number: &str) -> String {
    serde_json::json!({
        "@context": "https://schema.org", "@type": "Order", "orderNumber": number,
        "customer": {"@type": "Person", "name": "Zoë Ångström"},
        "orderDelivery": {"@type": "ParcelDelivery", "deliveryAddress": {"@type": "PostalAddress",
            "streetAddress": "Quay Street 4", "postalCode": "1203", "addressLocality": "Port Haven", "addressCountry": "QS"}},
        "orderedItem": {"@type": "OrderItem", "orderQuantity": 2, "orderedItem": {"@type": "Product", "sku": "mug"}}
    })
    .to_string()
}

/// A raw request with these header lines.
pub fn request(method: &str, path: &str, headers: &str, body: &str) -> Vec<u8> {
    format!("{method} {path} HTTP/1.1\r\nHost: test\r\n{headers}\r\n{body}").into_bytes()
}

/// Status, headers (lower case) and body of a raw answer.
#[track_caller]
pub fn parted(answer: &str) -> (u16, String, serde_json::Value) {
    let (head, body) = answer.split_once("\r\n\r\n").unwrap_or_else(|| panic!("no answer: {answer:?}"));
    let status = head.split(' ').nth(1).and_then(|status| status.parse().ok()).expect("a status");
    (status, head.to_ascii_lowercase(), serde_json::from_str(body).unwrap_or_default())
}
