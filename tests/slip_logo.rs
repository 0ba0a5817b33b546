//! The workshop's own drawing on a card: PNG and SVG, three ways to print greys.

mod slip_demo;

use dawnslip::model::*;
use dawnslip::slip::halftone::Gray;
use dawnslip::slip::logo::{self, Logo};
use dawnslip::slip::*;
use slip_demo::*;
use std::path::Path;

const TERN: &str = r##"<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 200 100">
  <g fill="none" stroke="#000" stroke-width="5"><circle cx="100" cy="50" r="44"/></g>
  <path d="M30 40 Q70 20 100 52 Q130 20 170 40 Q130 40 100 66 Q70 40 30 40 Z"/>
  <path d="M60 78 H140" stroke="black" stroke-width="3"/>
</svg>"##;

fn card_with(logo: Option<Logo>, body: &str) -> (Paper, Typesetter) {
    let mut workshop = workshop();
    workshop.cards.get_mut(&CardName::new("thanks")).unwrap().body = body.to_owned();
    let mut setter = Typesetter::new(Fonts::embedded()).with_logo(logo);
    let (book, subject) = (morning(), Subject::Card(ParcelId(401), "thanks".into()));
    let wanted = Wanted { kind: PaperKind::Card, subject: &subject, copy: None };
    (paper(&wanted, &book.state, &book.people, &workshop, &mut setter, now()).unwrap(), setter)
}

#[test]
fn a_card_shows_the_drawing_where_its_template_says_and_says_its_words() {
    let picture = logo::read(TERN.as_bytes()).unwrap();
    let logo = Logo { picture, tone: Tone::Line, density_percent: 100 };
    let height = |logo: Option<Logo>, body: &str| {
        let (paper, mut setter) = card_with(logo, body);
        assert_eq!(paper.warnings, []);
        assert!(render_text(&paper, Sheet::WIDE, &mut setter).contains("a tern in a ring"));
        let png = render_png(&paper, Sheet::WIDE, &mut setter).unwrap();
        std::fs::write(Path::new(env!("CARGO_TARGET_TMPDIR")).join("logo_card.png"), png).unwrap();
        layout::layout(&paper.document, Sheet::WIDE, &mut setter).dots.height()
    };
    let none = height(None, "![a tern in a ring](logo)");
    let half = height(Some(logo.clone()), "![a tern in a ring](logo-50)");
    let whole = height(Some(logo), "![a tern in a ring](logo-100)\n\n# {{ name }}");
    // 508 dots between the margins: half of them are 127 rows of a drawing twice as wide as high.
    assert_eq!(half - none, 127);
    assert!(whole > half);
}

#[test]
fn a_size_that_no_card_has_is_a_mistake_of_the_template() {
    for name in ["logo-3", "logo-101", "logo-x", "tern.png"] {
        let (paper, _) = card_with(None, &format!("![]({name})"));
        let told = paper.warnings.first().map(ToString::to_string).unwrap_or_default();
        assert!(told.contains("(pen), (ornament) and (logo)"), "{name}: {told}");
    }
}

/// Ramps and balls in each tone, for people to look at.
#[test]
fn greys_print_darker_from_left_to_right_in_every_tone() {
    let (width, height) = (512, 200);
    let mut ramp = Gray::white(width, height);
    for (at, ink) in ramp.ink.iter_mut().enumerate() {
        let (x, y) = ((at % width as usize) as f32, (at / width as usize) as f32);
        let ball = 1.0 - ((x - 256.0).hypot(y - 130.0) / 60.0).powi(2);
        *ink = if y > 60.0 && ball > 0.0 { (255.0 * (1.0 - ball)) as u8 } else { (x / 2.0) as u8 };
    }
    for (name, tone) in [("line", Tone::Line), ("diffused", Tone::Diffused), ("ordered", Tone::Ordered)] {
        let dots = halftone::dots(&ramp, tone, 100);
        let folder = Path::new(env!("CARGO_TARGET_TMPDIR"));
        std::fs::write(folder.join(format!("tone_{name}.png")), picture::png(&dots).unwrap()).unwrap();
        let ink = |from: i32, to: i32| {
            (0..50).flat_map(|y| (from..to).map(move |x| (x, y))).filter(|(x, y)| dots.is_black(*x, *y)).count()
        };
        let eighths: Vec<usize> = (0..8).map(|part| ink(part * 64, (part + 1) * 64)).collect();
        assert!(eighths.is_sorted() && eighths[0] < eighths[7], "{name}: {eighths:?}");
    }
}
