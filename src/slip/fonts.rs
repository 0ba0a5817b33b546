//! The faces that are embedded, and those a workshop adds. Never a system's own fonts: the
//! same order gives the same dots on every machine.

use super::document::Face;
use cosmic_text::fontdb::{Database, Source};
use cosmic_text::{Fallback, FontSystem};
use miniz_oxide::inflate::decompress_to_vec_zlib_with_limit;
use std::sync::{Arc, LazyLock};
use unicode_script::Script;

/// Cut, named and packed by `fonts/make.py`; the first one is what everything falls back on.
const PACKED: [&[u8]; 27] = [
    include_bytes!("fonts/slip_sans.otf.zlib"),
    include_bytes!("fonts/slip_sans_bold.otf.zlib"),
    include_bytes!("fonts/slip_sans_heavy.otf.zlib"),
    include_bytes!("fonts/slip_text.otf.zlib"),
    include_bytes!("fonts/slip_italic.otf.zlib"),
    include_bytes!("fonts/slip_display.otf.zlib"),
    include_bytes!("fonts/slip_wide.ttf.zlib"),
    include_bytes!("fonts/slip_hebrew.ttf.zlib"),
    include_bytes!("fonts/slip_arabic.ttf.zlib"),
    include_bytes!("fonts/slip_devanagari.ttf.zlib"),
    include_bytes!("fonts/slip_bengali.ttf.zlib"),
    include_bytes!("fonts/slip_gurmukhi.ttf.zlib"),
    include_bytes!("fonts/slip_gujarati.ttf.zlib"),
    include_bytes!("fonts/slip_oriya.ttf.zlib"),
    include_bytes!("fonts/slip_sinhala.ttf.zlib"),
    include_bytes!("fonts/slip_ethiopic.ttf.zlib"),
    include_bytes!("fonts/slip_tamil.ttf.zlib"),
    include_bytes!("fonts/slip_telugu.ttf.zlib"),
    include_bytes!("fonts/slip_kannada.ttf.zlib"),
    include_bytes!("fonts/slip_malayalam.ttf.zlib"),
    include_bytes!("fonts/slip_thai.ttf.zlib"),
    include_bytes!("fonts/slip_lao.ttf.zlib"),
    include_bytes!("fonts/slip_myanmar.ttf.zlib"),
    include_bytes!("fonts/slip_khmer.ttf.zlib"),
    include_bytes!("fonts/slip_georgian.ttf.zlib"),
    include_bytes!("fonts/slip_armenian.ttf.zlib"),
    include_bytes!("fonts/slip_emoji.ttf.zlib"),
];

/// Lies there as it is: packing would hardly make it smaller.
const EAST_ASIA: &[u8] = include_bytes!("fonts/slip_east_asia.otf");

/// No packed face is larger once unpacked.
const FACE_BYTES_MAX: usize = 1024 * 1024;

/// Unpacked once; copies share the bytes.
static EMBEDDED: LazyLock<Database> = LazyLock::new(|| {
    let mut faces = Database::new();
    for packed in PACKED {
        let face = decompress_to_vec_zlib_with_limit(packed, FACE_BYTES_MAX);
        // They are part of the program, and a test unpacks each of them.
        debug_assert!(face.is_ok(), "an embedded face cannot be unpacked");
        faces.load_font_source(Source::Binary(Arc::new(face.unwrap_or_default())));
    }
    faces.load_font_source(Source::Binary(Arc::new(EAST_ASIA)));
    faces
});

/// The last resort for Han, Kana and Hangul: common letters of one style.
pub(super) const LAST_RESORT: &str = "Slip East Asia";

/// Font files in memory.
#[derive(Clone)]
pub struct Fonts {
    pub(super) faces: Database,
    pub(super) has_extra: bool,
}

impl Fonts {
    /// What is embedded: sets any script that commonly occurs in names.
    pub fn embedded() -> Self {
        Self::with(Vec::new())
    }
    /// The embedded faces, and files that the caller has read. A file that is no font is
    /// passed over. A face named `Noto Sans CJK JP` (`SC`, `TC`, `KR`) replaces the embedded
    /// last resort for Han letters in the style of the customer's language.
    pub fn with(extra: Vec<Vec<u8>>) -> Self {
        let mut faces = EMBEDDED.clone();
        let embedded = faces.len();
        for bytes in extra {
            faces.load_font_source(Source::Binary(Arc::new(bytes)));
        }
        let has_extra = faces.len() > embedded;
        Self { faces, has_extra }
    }
    pub(super) fn system(&self, han: Han) -> FontSystem {
        FontSystem::new_with_locale_and_db_and_fallback(han.locale().to_owned(), self.faces.clone(), ByScript)
    }
}

/// The embedded family of a face.
pub(super) fn family(face: Face) -> &'static str {
    match face {
        Face::Sans => "Slip Sans",
        Face::Bold => "Slip Sans Bold",
        Face::Heavy => "Slip Sans Heavy",
        Face::Text | Face::Capitals => "Slip Text",
        Face::Italic => "Slip Italic",
        Face::Display => "Slip Display",
    }
}

/// Han letters are written in different styles; the same code point, another shape.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default)]
pub enum Han {
    /// Japan; also where nothing is known.
    #[default]
    Japanese,
    /// Mainland China, Singapore.
    Simplified,
    /// Taiwan, Hong Kong, Macao.
    Traditional,
    /// Korea.
    Korean,
}

impl Han {
    /// From a BCP 47 language (`zh-Hant`) or an ISO country (`TW`).
    pub fn of(language: Option<&str>) -> Self {
        let Some(language) = language else { return Self::default() };
        let tag = language.to_ascii_lowercase().replace('_', "-");
        let has = |part: &str| tag.split('-').any(|p| p == part);
        if has("hant") || has("tw") || has("hk") || has("mo") {
            Self::Traditional
        } else if has("zh") || has("cn") || has("sg") {
            Self::Simplified
        } else if has("ko") || has("kr") {
            Self::Korean
        } else {
            Self::Japanese
        }
    }
    fn locale(self) -> &'static str {
        match self {
            Self::Japanese => "ja",
            Self::Simplified => "zh-Hans",
            Self::Traditional => "zh-Hant",
            Self::Korean => "ko",
        }
    }
}

/// Which family is asked when the wished one lacks a letter.
struct ByScript;

impl Fallback for ByScript {
    fn common_fallback(&self) -> &[&'static str] {
        &["Slip Sans", "Slip Wide", "Slip Emoji", LAST_RESORT]
    }
    fn forbidden_fallback(&self) -> &[&'static str] {
        &[]
    }
    fn script_fallback(&self, script: Script, locale: &str) -> &[&'static str] {
        match script {
            Script::Hebrew => &["Slip Hebrew"],
            Script::Arabic => &["Slip Arabic"],
            Script::Devanagari => &["Slip Devanagari"],
            Script::Bengali => &["Slip Bengali"],
            Script::Gurmukhi => &["Slip Gurmukhi"],
            Script::Gujarati => &["Slip Gujarati"],
            Script::Oriya => &["Slip Oriya"],
            Script::Sinhala => &["Slip Sinhala"],
            Script::Ethiopic => &["Slip Ethiopic"],
            Script::Tamil => &["Slip Tamil"],
            Script::Telugu => &["Slip Telugu"],
            Script::Kannada => &["Slip Kannada"],
            Script::Malayalam => &["Slip Malayalam"],
            Script::Thai => &["Slip Thai"],
            Script::Lao => &["Slip Lao"],
            Script::Myanmar => &["Slip Myanmar"],
            Script::Khmer => &["Slip Khmer"],
            Script::Georgian => &["Slip Georgian"],
            Script::Armenian => &["Slip Armenian"],
            Script::Han | Script::Hiragana | Script::Katakana | Script::Bopomofo | Script::Hangul => match locale {
                "zh-Hans" => &["Noto Sans CJK SC", "Noto Sans SC", LAST_RESORT],
                "zh-Hant" => &["Noto Sans CJK TC", "Noto Sans TC", LAST_RESORT],
                "ko" => &["Noto Sans CJK KR", "Noto Sans KR", LAST_RESORT],
                _ => &["Noto Sans CJK JP", "Noto Sans JP", LAST_RESORT],
            },
            _ => &[],
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_embedded_file_is_a_face() {
        assert_eq!(Fonts::embedded().faces.len(), PACKED.len() + 1);
        let bytes = PACKED.iter().map(|b| b.len()).sum::<usize>() + EAST_ASIA.len();
        assert!(bytes <= 6 * 1024 * 1024, "{bytes} bytes of letters in the program");
    }

    #[test]
    fn a_file_that_is_no_font_is_passed_over() {
        assert!(!Fonts::with(vec![b"not a font".to_vec(), Vec::new()]).has_extra);
    }

    #[test]
    fn han_letters_follow_the_language() {
        for (tag, han) in [
            ("zh-Hant", Han::Traditional),
            ("TW", Han::Traditional),
            ("zh", Han::Simplified),
            ("CN", Han::Simplified),
            ("ko-KR", Han::Korean),
            ("ja", Han::Japanese),
            ("sv", Han::Japanese),
        ] {
            assert_eq!(Han::of(Some(tag)), han, "{tag}");
        }
    }
}
