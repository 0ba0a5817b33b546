//! The shops as intake knows them: scheme, loaded secrets, compiled mapping. A reload swaps
//! the whole table; requests that have begun finish with the one they started with.

use super::mapping::{Mapper, MappingProblem};
use super::message;
use super::secret::{SecretBytes, SecretError};
use super::signature::{self, Refusal, Verified};
use crate::book::Received;
use crate::model::{Currency, Limits, MessageKey, Scheme, SecretRef, Service, Source, SourceName, Workshop};
use hyper::HeaderMap;
use jiff::Timestamp;
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::sync::{Arc, RwLock};

/// Largest secret file that is read.
const SECRET_BYTES_MAX: u64 = 4096;

/// Why a source cannot be opened.
#[derive(Debug, thiserror::Error)]
pub enum SourceError {
    /// No secret is named.
    #[error("source \"{name}\" names no secret; nobody could send to it")]
    NoSecret {
        /// Which source.
        name: SourceName,
    },
    /// A secret's file cannot be read.
    #[error("source \"{name}\": the secret in {place} cannot be read")]
    Unreadable {
        /// Which source.
        name: SourceName,
        /// The file.
        place: PathBuf,
        /// Why.
        #[source]
        cause: std::io::Error,
    },
    /// systemd passed no credentials.
    #[error(
        "source \"{name}\": there is no credential \"{credential}\", as systemd passed none ($CREDENTIALS_DIRECTORY)"
    )]
    NoCredentials {
        /// Which source.
        name: SourceName,
        /// The credential's name.
        credential: String,
    },
    /// A secret is unusable.
    #[error("source \"{name}\": the secret in {place} is unusable")]
    BadSecret {
        /// Which source.
        name: SourceName,
        /// The file.
        place: PathBuf,
        /// Why.
        #[source]
        cause: SecretError,
    },
    /// The scheme contradicts itself.
    #[error("source \"{name}\": {problem}")]
    Scheme {
        /// Which source.
        name: SourceName,
        /// A sentence.
        problem: String,
    },
    /// A path of the mapping is wrong.
    #[error("source \"{name}\": the mapping is wrong")]
    Mapping {
        /// Which source.
        name: SourceName,
        /// Where and why.
        #[source]
        cause: MappingProblem,
    },
}

/// Where secrets are looked for.
#[derive(Debug, Clone)]
pub struct SecretPlaces {
    /// The configuration's folder: files are relative to it.
    pub config: PathBuf,
    /// `$CREDENTIALS_DIRECTORY`, if systemd set it.
    pub credentials: Option<PathBuf>,
}

/// A shop that can be received from.
#[derive(Debug, Clone)]
pub struct OpenSource {
    /// Its name.
    pub name: SourceName,
    /// How its messages are signed.
    pub scheme: Scheme,
    /// Its secrets; all are accepted, the first one signs.
    pub secrets: Vec<SecretBytes>,
    /// How its payloads are read.
    pub mapper: Mapper,
}

impl OpenSource {
    /// Loads the secrets and compiles the mapping.
    ///
    /// # Errors
    /// All problems of this source.
    pub fn open(source: &Source, services: &[Service], places: &SecretPlaces) -> Result<Self, Vec<SourceError>> {
        let name = &source.name;
        let mut problems = Vec::new();
        if source.secrets.is_empty() {
            problems.push(SourceError::NoSecret { name: name.clone() });
        }
        if let Err(problem) = signature::check(&source.scheme) {
            problems.push(SourceError::Scheme { name: name.clone(), problem });
        }
        let mut secrets = Vec::new();
        for secret in &source.secrets {
            match load_secret(source, secret, places) {
                Ok(secret) => secrets.push(secret),
                Err(problem) => problems.push(problem),
            }
        }
        match Mapper::compile(source) {
            Ok(mapper) if problems.is_empty() => Ok(Self {
                name: name.clone(),
                scheme: source.scheme.clone(),
                secrets,
                mapper: mapper.with_services(services),
            }),
            Ok(_) => Err(problems),
            Err(found) => {
                problems.extend(found.into_iter().map(|cause| SourceError::Mapping { name: name.clone(), cause }));
                Err(problems)
            }
        }
    }

    /// Checks a message's signature.
    ///
    /// # Errors
    /// Why it is not believed.
    pub fn verify(&self, headers: &HeaderMap, body: &[u8], now: Timestamp) -> Result<Verified, Refusal> {
        signature::verify(&self.scheme, &self.secrets, headers, body, now)
    }
}

/// All shops with what reading their messages needs; immutable.
#[derive(Debug, Clone)]
pub struct SourceTable {
    sources: BTreeMap<SourceName, Arc<OpenSource>>,
    /// Limits in force.
    pub limits: Limits,
    installation_key: [u8; 32],
    currency: Currency,
}

impl SourceTable {
    /// Opens every source of a workshop.
    ///
    /// # Errors
    /// All problems of all sources.
    pub fn load(
        workshop: &Workshop,
        places: &SecretPlaces,
        installation_key: [u8; 32],
    ) -> Result<Self, Vec<SourceError>> {
        let mut sources = Vec::new();
        let mut problems = Vec::new();
        for source in workshop.sources.values() {
            match OpenSource::open(source, &workshop.services, places) {
                Ok(open) => sources.push(open),
                Err(found) => problems.extend(found),
            }
        }
        if problems.is_empty() {
            Ok(Self::new(sources, workshop.limits.clone(), installation_key, workshop.currency))
        } else {
            Err(problems)
        }
    }

    /// A table of sources that are open already.
    pub fn new(
        sources: impl IntoIterator<Item = OpenSource>,
        limits: Limits,
        installation_key: [u8; 32],
        currency: Currency,
    ) -> Self {
        let sources = sources.into_iter().map(|source| (source.name.clone(), Arc::new(source))).collect();
        Self { sources, limits, installation_key, currency }
    }

    /// The source of this name.
    pub fn get(&self, name: &str) -> Option<&Arc<OpenSource>> {
        self.sources.get(&SourceName::from(name))
    }
    /// The names of all.
    pub fn names(&self) -> impl Iterator<Item = &SourceName> {
        self.sources.keys()
    }

    /// A verified message as the book takes it.
    pub fn received(&self, source: &OpenSource, verified: &Verified, body: &[u8]) -> Received {
        self.read(source, message::message_key(&source.name, verified, body), body)
    }
    /// A message from a file: nobody signed it, so it is known by its body.
    pub fn received_from_file(&self, source: &OpenSource, body: &[u8]) -> Received {
        self.received(source, &Verified { message_id: None, timestamp: None }, body)
    }
    /// A message that was kept, read again with the mapping in force (`remap`).
    pub fn read(&self, source: &OpenSource, message: MessageKey, body: &[u8]) -> Received {
        Received {
            message,
            body_digest: message::body_digest(body),
            raw: message::raw_text(body),
            meaning: source.mapper.read(body, &self.installation_key, self.currency),
            archived: Default::default(),
        }
    }
}

/// The table in force, shared by all connections.
#[derive(Debug)]
pub struct Sources(RwLock<Arc<SourceTable>>);

impl Sources {
    /// Starts with a table.
    pub fn new(table: SourceTable) -> Self {
        Self(RwLock::new(Arc::new(table)))
    }
    /// The table in force now; a request keeps the one it took.
    pub fn now(&self) -> Arc<SourceTable> {
        // A panic while the lock is held cannot leave a half-written Arc behind.
        self.0.read().unwrap_or_else(std::sync::PoisonError::into_inner).clone()
    }
    /// Puts another table in force. Requests under way are not disturbed.
    pub fn swap(&self, table: SourceTable) {
        *self.0.write().unwrap_or_else(std::sync::PoisonError::into_inner) = Arc::new(table);
    }
}

fn load_secret(source: &Source, secret: &SecretRef, places: &SecretPlaces) -> Result<SecretBytes, SourceError> {
    let name = || source.name.clone();
    let place = match (secret, &places.credentials) {
        (SecretRef::File(file), _) => places.config.join(file),
        (SecretRef::Credential(credential), Some(folder)) => folder.join(credential),
        (SecretRef::Credential(credential), None) => {
            return Err(SourceError::NoCredentials { name: name(), credential: credential.clone() });
        }
    };
    let bytes =
        read_small(&place).map_err(|cause| SourceError::Unreadable { name: name(), place: place.clone(), cause })?;
    SecretBytes::read(&source.scheme, &bytes).map_err(|cause| SourceError::BadSecret { name: name(), place, cause })
}

fn read_small(place: &Path) -> std::io::Result<Vec<u8>> {
    use std::io::Read;
    use std::os::unix::fs::PermissionsExt;
    let mut bytes = Vec::new();
    let file = std::fs::File::open(place)?;
    if file.metadata()?.permissions().mode() & 0o077 != 0 {
        tracing::warn!(file = %place.display(), "other users can read this secret; chmod 600");
    }
    file.take(SECRET_BYTES_MAX + 1).read_to_end(&mut bytes)?;
    if bytes.len() as u64 > SECRET_BYTES_MAX {
        return Err(std::io::Error::other(format!("it is larger than {SECRET_BYTES_MAX} bytes")));
    }
    Ok(bytes)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::model::{BodyHmac, Mapping, Payload, SignatureEncoding};
    use jiff::SignedDuration;

    fn source(secrets: Vec<SecretRef>) -> Source {
        Source {
            name: "shop".into(),
            scheme: Scheme::StandardWebhooks { tolerance: SignedDuration::from_secs(300) },
            secrets,
            payload: Payload::SchemaOrg,
            gapless_prefix: None,
            printer: None,
            print: None,
        }
    }

    #[test]
    fn secrets_come_from_files_and_credentials_and_each_problem_is_told() {
        let folder = tempfile::tempdir().unwrap();
        let secret = "whsec_AAECAwQFBgcICQoLDA0ODxAREhMUFRYXGBkaGxwdHh8=\n";
        std::fs::write(folder.path().join("good"), secret).unwrap();
        std::fs::write(folder.path().join("short"), "whsec_AAAA").unwrap();
        std::fs::write(folder.path().join("large"), vec![b'a'; 5000]).unwrap();
        let places = |credentials| SecretPlaces { config: folder.path().into(), credentials };
        let file = |name: &str| SecretRef::File(name.into());
        let credential = SecretRef::Credential("good".into());

        let both = source(vec![file("good"), credential.clone()]);
        let open = OpenSource::open(&both, &[], &places(Some(folder.path().into()))).unwrap();
        assert_eq!(open.secrets.len(), 2);

        let bad = source(vec![file("none"), file("short"), file("large"), credential]);
        let told: Vec<_> = OpenSource::open(&bad, &[], &places(None)).unwrap_err();
        let told: Vec<_> = told.iter().map(ToString::to_string).collect();
        assert_eq!(told.len(), 4, "{told:?}");
        assert!(told[3].contains("no credential \"good\""));
        assert!(OpenSource::open(&source(vec![]), &[], &places(None)).is_err());
    }

    #[test]
    fn a_scheme_and_a_mapping_are_checked_when_the_source_is_opened() {
        let folder = tempfile::tempdir().unwrap();
        std::fs::write(folder.path().join("secret"), "a shared secret for tests").unwrap();
        let wrong = Source {
            scheme: Scheme::BodyHmac(BodyHmac {
                header: "signature".into(),
                encoding: SignatureEncoding::Hex,
                prefix: String::new(),
                timestamp: None,
                template: Some("{timestamp}".into()),
                id_header: None,
            }),
            payload: Payload::Mapped(Box::new(Mapping {
                number: "ref".into(),
                lines: "$[".into(),
                ..Mapping::default()
            })),
            ..source(vec![SecretRef::File("secret".into())])
        };
        let places = SecretPlaces { config: folder.path().into(), credentials: None };
        let told = OpenSource::open(&wrong, &[], &places).unwrap_err();
        assert_eq!(told.len(), 3, "{told:?}");
    }
}
