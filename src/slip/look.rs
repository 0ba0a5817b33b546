//! The three designs of a card: what is set in which letters, and where it stands.

use super::document::{Align, End, Face, Frame, Ornament, Style};

/// A design.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Look {
    /// Drawn above and below.
    pub ornament: Ornament,
    /// Around everything.
    pub frame: Option<Frame>,
    /// White at the left and right.
    pub margin: u16,
    /// The workshop's name, in capitals.
    pub shop: Style,
    /// Where workshop, name and pen stand.
    pub align: Align,
    /// The name's face and largest size.
    pub name: Style,
    /// Headings, and where they stand.
    pub heading: (Style, Align),
    /// Running text.
    pub text: Style,
    /// `*Emphasis*` within it.
    pub emphasis: Style,
    /// `**Strong**` words within it.
    pub strong: Style,
    /// What a giver wrote.
    pub quote: (Style, Align),
    /// Length of the short line that `---` draws, in percent, and its thickness.
    pub rule: (u16, u16),
    /// The words under the room for a pen.
    pub pen: Style,
}

/// Designs that a template may name; the first is the usual one.
pub const DESIGNS: [&str; 3] = ["waves", "leaves", "plain"];

const fn style(face: Face, size: u16) -> Style {
    Style { face, size }
}

/// Waves above and below, a book's letters, the name in the middle.
pub const WAVES: Look = Look {
    ornament: Ornament::Waves,
    frame: None,
    margin: 34,
    shop: style(Face::Capitals, 24),
    align: Align::Middle,
    name: style(Face::Display, 112),
    heading: (style(Face::Italic, 32), Align::Left),
    text: style(Face::Text, 27),
    emphasis: style(Face::Italic, 28),
    // The sans is larger on its body than the text face.
    strong: style(Face::Bold, 23),
    quote: (style(Face::Italic, 31), Align::Middle),
    rule: (16, 2),
    pen: style(Face::Italic, 23),
};

/// A frame with a garland, the name in italics, all headings in the middle.
const LEAVES: Look = Look {
    ornament: Ornament::Leaves,
    frame: Some(Frame::Double),
    margin: 48,
    name: style(Face::Italic, 104),
    heading: (style(Face::Italic, 31), Align::Middle),
    rule: (9, 2),
    ..WAVES
};

/// A poster's letters, everything at the left edge.
const PLAIN: Look = Look {
    ornament: Ornament::Plain,
    frame: None,
    margin: 20,
    shop: style(Face::Bold, 23),
    align: Align::Left,
    name: style(Face::Heavy, 96),
    heading: (style(Face::Bold, 26), Align::Left),
    text: style(Face::Sans, 24),
    emphasis: style(Face::Bold, 24),
    strong: style(Face::Heavy, 24),
    quote: (style(Face::Sans, 30), Align::Left),
    rule: (100, 1),
    pen: style(Face::Sans, 21),
};

impl Look {
    /// The design of this name; an empty one is the usual design.
    pub fn named(design: &str) -> Option<Self> {
        match design {
            "waves" | "" => Some(WAVES),
            "leaves" => Some(LEAVES),
            "plain" => Some(PLAIN),
            _ => None,
        }
    }
    /// Its ornament closes the card as it opens it, turned over; the poster's ends are alike.
    pub fn end(self, end: End) -> End {
        if self.ornament == Ornament::Plain && end == End::Foot { End::Head } else { end }
    }
}
