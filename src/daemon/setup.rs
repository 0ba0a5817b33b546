//! Where the configuration comes from, and what is loaded because of it: sources with their
//! secrets, fonts, the desk's token.

use super::start::{StartError, chain};
use crate::config::secret::{Secret, SecretError, credentials_directory};
use crate::config::{CardTrouble, Checks, Complaint, Complaints, Files, load_but_cards, load_with, read_folder};
use crate::intake::sources::{SecretPlaces, SourceError, SourceTable};
use crate::model::{LogoFile, Workshop};
use crate::slip::logo::Logo;
use crate::slip::{Fonts, Typesetter};
use std::path::{Path, PathBuf};
use std::sync::Arc;

/// A larger file is no logo.
const LOGO_BYTES_MAX: u64 = 8 * 1024 * 1024;
/// A larger file is no font.
const FONT_BYTES_MAX: u64 = 64 * 1024 * 1024;

/// Where the configuration comes from.
#[derive(Debug, Clone)]
pub struct Place {
    /// The folder; secrets and fonts are relative to it.
    pub folder: PathBuf,
}

impl Place {
    /// The folder's files as they are now.
    ///
    /// # Errors
    /// [`StartError::Unreadable`].
    pub fn files(&self) -> Result<Files, StartError> {
        read_folder(&self.folder).map_err(StartError::Unreadable)
    }

    /// Reads and checks the configuration.
    ///
    /// # Errors
    /// [`StartError::Unreadable`], [`StartError::Config`].
    pub fn load(&self) -> Result<Workshop, StartError> {
        checked(&self.files()?, &self.folder).map_err(StartError::Config)
    }

    /// The same for a start; with one line for each mistake in a card, in whose place a plain one prints.
    ///
    /// # Errors
    /// [`StartError::Unreadable`], [`StartError::Config`].
    pub fn load_but_cards(&self) -> Result<(Workshop, Vec<String>), StartError> {
        let (workshop, cards) = checked_but_cards(&self.files()?, &self.folder).map_err(StartError::Config)?;
        Ok((workshop, cards.as_ref().map(lines).unwrap_or_default()))
    }

    /// Opens the sources: secrets are read, mappings compiled.
    ///
    /// # Errors
    /// All that is wrong with any of them.
    pub fn sources(&self, workshop: &Workshop, key: [u8; 32]) -> Result<SourceTable, Vec<SourceError>> {
        // The configuration has already put its folder before every file's name.
        let places = SecretPlaces { config: PathBuf::new(), credentials: credentials_directory() };
        SourceTable::load(workshop, &places, key)
    }

    /// The whole again, for a reload; complaints one line each.
    ///
    /// # Errors
    /// The complaints.
    pub fn reload(&self, key: [u8; 32]) -> Result<(Arc<Workshop>, SourceTable), Vec<String>> {
        let workshop = self.load().map_err(|error| match error {
            StartError::Config(complaints) => lines(&complaints),
            other => vec![chain(&other)],
        })?;
        let table = self.sources(&workshop, key).map_err(|found| found.iter().map(chain).collect::<Vec<_>>())?;
        Ok((Arc::new(workshop), table))
    }
}

/// Complaints, one line each: `file:line:column: what; what to write instead`.
fn lines(complaints: &Complaints) -> Vec<String> {
    let one = |complaint: &Complaint| {
        let (line, column) = complaints.place(complaint);
        let remedy = if complaint.remedy.is_empty() { String::new() } else { format!("; {}", complaint.remedy) };
        format!("{}:{line}:{column}: {}{remedy}", complaint.file, complaint.what)
    };
    complaints.list().iter().map(one).collect()
}

/// Checks a configuration with everything that other modules know: rules, cards, letters.
///
/// # Errors
/// All complaints at once.
pub fn checked(files: &Files, folder: &Path) -> Result<Workshop, Complaints> {
    with_checks(|checks| load_with(files, folder, checks))
}

/// The same for a start, which no card stops: with what is wrong with the cards.
///
/// # Errors
/// All complaints at once, where anything but cards is wrong.
pub fn checked_but_cards(files: &Files, folder: &Path) -> Result<(Workshop, Option<Complaints>), Complaints> {
    with_checks(|checks| load_but_cards(files, folder, checks))
}

/// Rules are compiled here, which takes stack: see DEVELOPERS.md.
fn with_checks<T>(load: impl FnOnce(&Checks<'_>) -> T) -> T {
    let setter = std::cell::RefCell::new(None);
    load(&Checks {
        rule: &|workshop, rule| crate::plan::rules::check(workshop, rule),
        card: &|workshop, template| {
            let mistake = crate::slip::card::check(template, workshop).err()?;
            Some(CardTrouble { line: mistake.line, what: mistake.what, remedy: String::new() })
        },
        letters: &|workshop, text| setter.borrow_mut().get_or_insert_with(|| typesetter(workshop)).missing(text),
    })
}

/// The letters: embedded fonts, and those in the configured folder.
pub fn typesetter(workshop: &Workshop) -> Typesetter {
    let mut extra = Vec::new();
    for file in workshop.fonts.iter().filter_map(|folder| std::fs::read_dir(folder).ok()).flatten().flatten() {
        let path = file.path();
        let is_font =
            path.extension().is_some_and(|e| ["ttf", "otf", "ttc"].iter().any(|known| e.eq_ignore_ascii_case(known)));
        let small = file.metadata().is_ok_and(|m| m.len() <= FONT_BYTES_MAX);
        if is_font && small {
            match std::fs::read(&path) {
                Ok(bytes) => extra.push(bytes),
                Err(error) => tracing::warn!(error = %error, "a font cannot be read"),
            }
        }
    }
    let drawing = workshop.logo.as_ref().map(logo).transpose();
    if let Err(error) = &drawing {
        tracing::warn!(error = error.as_str(), "the logo cannot be used");
    }
    Typesetter::new(Fonts::with(extra)).with_logo(drawing.unwrap_or_default())
}

/// Reads the workshop's drawing.
///
/// # Errors
/// In words: where it cannot be read or is none.
pub fn logo(place: &LogoFile) -> Result<Logo, String> {
    let file = place.file.display();
    let told = |why: &dyn std::error::Error| format!("the logo {file} cannot be used: {}", chain(why));
    let size = std::fs::metadata(&place.file).map_err(|error| told(&error))?.len();
    if size > LOGO_BYTES_MAX {
        return Err(format!("the logo {file} has {size} bytes; make it smaller than {LOGO_BYTES_MAX}"));
    }
    let bytes = std::fs::read(&place.file).map_err(|error| told(&error))?;
    let picture = crate::slip::logo::read(&bytes).map_err(|error| told(&error))?;
    Ok(Logo { picture, tone: place.tone, density_percent: place.density_percent })
}

/// The desk's token, if one is configured.
///
/// # Errors
/// Where its file cannot be read.
pub fn desk_token(workshop: &Workshop) -> Result<Option<Secret>, SecretError> {
    let place = workshop.listeners.desk_token.as_ref();
    place.map(|place| crate::config::secret::read(place, credentials_directory().as_deref())).transpose()
}
