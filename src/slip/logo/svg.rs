//! Simple SVG: paths, rectangles, circles, ellipses, lines and polygons, filled and stroked in plain
//! colours, moved by transforms. Anything else is named with its line, never left out silently.

use super::{LogoError, SIDE_MAX, luma, under};
use crate::slip::halftone::Gray;
use roxmltree::Node;
use zeno::{Cap, Fill, Join, Mask, Origin, Stroke, Style, Transform};

/// Pixels across that a drawing is painted in: twice the widest common head.
const ACROSS: f32 = 1_152.0;
/// Groups within groups.
const DEPTH_MAX: usize = 64;
/// Kinds that hold nothing to draw.
const SILENT: [&str; 4] = ["title", "desc", "metadata", "namedview"];

/// What elements inherit.
#[derive(Clone, Copy)]
struct Ink {
    fill: Option<u8>,
    even_odd: bool,
    stroke: Option<u8>,
    stroke_width: f32,
    transform: Transform,
}

pub(super) fn draw(text: &str) -> Result<Gray, LogoError> {
    let document = roxmltree::Document::parse(text)?;
    let root = document.root_element();
    let (left, top, width, height) = view(&root).ok_or(LogoError::Size)?;
    let scale = ACROSS / width;
    let (across, down) = (ACROSS as u32, (height * scale).ceil() as u32);
    if !(1..=SIDE_MAX).contains(&down) {
        return Err(LogoError::Size);
    }
    let mut picture = Gray::white(across, down);
    let transform = Transform::translation(-left, -top).then_scale(scale, scale);
    let ink = Ink { fill: Some(255), even_odd: false, stroke: None, stroke_width: 1.0, transform };
    children(&root, ink, &mut picture, 0)?;
    Ok(picture)
}

/// `viewBox`, else width and height.
fn view(root: &Node) -> Option<(f32, f32, f32, f32)> {
    let numbers = numbers(root.attribute("viewBox").unwrap_or_default());
    let side =
        |name: &str| root.attribute(name)?.trim_end_matches(|c: char| c.is_ascii_alphabetic()).parse::<f32>().ok();
    let view = match numbers[..] {
        [left, top, width, height] => (left, top, width, height),
        _ => (0.0, 0.0, side("width")?, side("height")?),
    };
    (view.2 > 0.0 && view.3 > 0.0 && view.2.is_finite() && view.3.is_finite()).then_some(view)
}

fn numbers(text: &str) -> Vec<f32> {
    text.split([' ', ',', '\n', '\t', '\r']).filter_map(|part| part.parse().ok()).collect()
}

fn children(node: &Node, ink: Ink, picture: &mut Gray, depth: usize) -> Result<(), LogoError> {
    for child in node.children().filter(Node::is_element) {
        if depth > DEPTH_MAX {
            return Err(beyond(&child, "groups nested this deep".to_owned()));
        }
        let name = child.tag_name().name();
        if SILENT.contains(&name) || (name == "defs" && !child.children().any(|inner| inner.is_element())) {
            continue;
        }
        let ink = inherited(&child, ink)?;
        match name {
            "g" | "a" | "svg" => children(&child, ink, picture, depth + 1)?,
            _ => {
                let path = path_of(&child).ok_or_else(|| beyond(&child, format!("<{name}>")))?;
                paint(&path, ink, picture);
            }
        }
    }
    Ok(())
}

fn beyond(node: &Node, what: String) -> LogoError {
    let line = node.document().text_pos_at(node.range().start).row;
    LogoError::Beyond { what, line }
}

/// An attribute, or the same said in `style`.
fn said<'n>(node: &Node<'n, '_>, key: &str) -> Option<&'n str> {
    let styles = node.attribute("style").unwrap_or_default().split(';');
    let mut styled = styles.filter_map(|entry| entry.split_once(':')).filter(|(name, _)| name.trim() == key);
    styled.next().map(|(_, value)| value.trim()).or_else(|| node.attribute(key))
}

fn inherited(node: &Node, ink: Ink) -> Result<Ink, LogoError> {
    let mut ink = ink;
    for (key, colour) in [("fill", &mut ink.fill), ("stroke", &mut ink.stroke)] {
        if let Some(value) = said(node, key).filter(|value| *value != "inherit") {
            *colour = paint_of(value).ok_or_else(|| beyond(node, format!("{key}=\"{value}\"")))?;
        }
    }
    if let Some(rule) = said(node, "fill-rule") {
        ink.even_odd = rule == "evenodd";
    }
    if let Some(width) = said(node, "stroke-width") {
        let width = width.trim_end_matches("px").parse();
        ink.stroke_width = width.map_err(|_| beyond(node, "a stroke-width that is no number".to_owned()))?;
    }
    if let Some(text) = node.attribute("transform") {
        let own = transform(text).ok_or_else(|| beyond(node, format!("transform=\"{text}\"")))?;
        ink.transform = own.then(&ink.transform);
    }
    Ok(ink)
}

/// The ink of a colour; `Some(None)` is no paint at all.
fn paint_of(value: &str) -> Option<Option<u8>> {
    let digits = |hex: &str| u32::from_str_radix(hex, 16).ok().filter(|_| hex.is_ascii());
    let ink = match value.trim() {
        "none" | "transparent" => return Some(None),
        "black" | "currentColor" => 255,
        "white" => 0,
        "gray" | "grey" => 127,
        hex => {
            let hex = hex.strip_prefix('#')?;
            let [red, green, blue] = match (hex.len(), digits(hex)?) {
                (6, n) => [n >> 16, n >> 8 & 255, n & 255],
                (3, n) => [(n >> 8) * 17, (n >> 4 & 15) * 17, (n & 15) * 17],
                _ => return None,
            };
            255 - luma(red as u8, green as u8, blue as u8)
        }
    };
    Some(Some(ink))
}

/// `translate(..) scale(..)`: what stands last is done first.
fn transform(text: &str) -> Option<Transform> {
    let mut all = Transform::IDENTITY;
    for part in text.split(')').map(str::trim).filter(|part| !part.is_empty()) {
        let (name, inner) = part.split_once('(')?;
        let one = match (name.trim_matches([' ', ',', '\n']), &numbers(inner)[..]) {
            ("translate", [x]) => Transform::translation(*x, 0.0),
            ("translate", [x, y]) => Transform::translation(*x, *y),
            ("scale", [by]) => Transform::scale(*by, *by),
            ("scale", [x, y]) => Transform::scale(*x, *y),
            ("rotate", [by]) => Transform::rotation(zeno::Angle::from_degrees(*by)),
            ("rotate", [by, x, y]) => Transform::rotation_about((*x, *y), zeno::Angle::from_degrees(*by)),
            ("matrix", [a, b, c, d, e, f]) => Transform::new(*a, *b, *c, *d, *e, *f),
            _ => return None,
        };
        all = one.then(&all);
    }
    Some(all)
}

/// An element's outline as path data; `None` for what is not drawn.
fn path_of(node: &Node) -> Option<String> {
    let number =
        |key: &str| node.attribute(key).map_or(Some(0.0), |text| text.trim_end_matches("px").parse::<f32>().ok());
    let round = |x: f32, y: f32, rx: f32, ry: f32| {
        format!("M{} {y} A{rx} {ry} 0 1 0 {} {y} A{rx} {ry} 0 1 0 {} {y} Z", x - rx, x + rx, x - rx)
    };
    match node.tag_name().name() {
        "path" => {
            let data = node.attribute("d").unwrap_or_default();
            zeno::validate_svg(data).is_ok().then(|| data.to_owned())
        }
        "rect" => {
            let (x, y, w, h) = (number("x")?, number("y")?, number("width")?, number("height")?);
            Some(format!("M{x} {y} H{} V{} H{x} Z", x + w, y + h))
        }
        "circle" => Some(round(number("cx")?, number("cy")?, number("r")?, number("r")?)),
        "ellipse" => Some(round(number("cx")?, number("cy")?, number("rx")?, number("ry")?)),
        "line" => Some(format!("M{} {} L{} {}", number("x1")?, number("y1")?, number("x2")?, number("y2")?)),
        "polyline" | "polygon" => {
            let points = numbers(node.attribute("points").unwrap_or_default());
            let mut path = String::new();
            for (at, pair) in points.chunks_exact(2).enumerate() {
                path += &format!("{}{} {} ", if at == 0 { 'M' } else { 'L' }, pair[0], pair[1]);
            }
            Some(if node.tag_name().name() == "polygon" && !path.is_empty() { path + "Z" } else { path })
        }
        _ => None,
    }
}

fn paint(path: &str, ink: Ink, picture: &mut Gray) {
    if path.is_empty() {
        return;
    }
    let fill = if ink.even_odd { Fill::EvenOdd } else { Fill::NonZero };
    if let Some(colour) = ink.fill {
        lay(path, Style::Fill(fill), colour, ink.transform, picture);
    }
    if let Some(colour) = ink.stroke.filter(|_| ink.stroke_width > 0.0) {
        let mut stroke = Stroke::new(ink.stroke_width);
        stroke.cap(Cap::Butt).join(Join::Miter);
        lay(path, Style::Stroke(stroke), colour, ink.transform, picture);
    }
}

/// Later paint covers earlier paint.
fn lay(path: &str, style: Style, colour: u8, transform: Transform, picture: &mut Gray) {
    let mut covered = vec![0u8; picture.ink.len()];
    let mut mask = Mask::new(path);
    mask.origin(Origin::TopLeft).transform(Some(transform)).style(style).size(picture.width, picture.height);
    mask.render_into(&mut covered, None);
    for (ink, alpha) in picture.ink.iter_mut().zip(covered).filter(|(_, alpha)| *alpha > 0) {
        *ink = under(*ink, 255 - alpha).saturating_add(under(colour, alpha));
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[track_caller]
    fn ink_at(body: &str, x: f32, y: f32) -> u8 {
        let picture =
            draw(&format!("<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 10 10\">{body}</svg>")).unwrap();
        let at = |share: f32| (share / 10.0 * ACROSS) as usize;
        picture.ink[at(y) * picture.width as usize + at(x)]
    }

    #[test]
    fn shapes_are_painted_where_they_stand() {
        let ring = "<circle cx='5' cy='5' r='4'/><circle cx='5' cy='5' r='2' fill='#fff'/>";
        assert_eq!([ink_at(ring, 5.0, 5.0), ink_at(ring, 2.0, 5.0), ink_at(ring, 0.5, 0.5)], [0, 255, 0]);
        assert_eq!(ink_at("<g transform='translate(5 0)'><rect width='2' height='2'/></g>", 6.0, 1.0), 255);
        assert_eq!(ink_at("<path d='M0 0 L10 0 L10 10 Z' style='fill:#808080'/>", 8.0, 2.0), 127);
        assert_eq!(ink_at("<line x1='0' y1='5' x2='10' y2='5' stroke='black' stroke-width='2'/>", 5.0, 4.5), 255);
        assert_eq!(ink_at("<polygon points='0,0 10,0 0,10' fill='none'/>", 1.0, 1.0), 0);
        let hole = "<path fill-rule='evenodd' d='M0 0 H10 V10 H0 Z M3 3 H7 V7 H3 Z'/>";
        assert_eq!([ink_at(hole, 5.0, 5.0), ink_at(hole, 1.0, 1.0)], [0, 255]);
    }

    #[test]
    fn what_is_not_drawn_is_named_with_its_line() {
        for (body, named) in [
            ("\n<text>Tern</text>", "<text> in line 2"),
            ("<image href='x.png'/>", "<image>"),
            ("<rect width='1' height='1' fill='url(#a)'/>", "url(#a)"),
            ("<path d='M0 0 W 3'/>", "<path>"),
            ("<g transform='skewX(3)'/>", "skewX"),
        ] {
            let error = draw(&format!("<svg viewBox='0 0 10 10'>{body}</svg>")).unwrap_err();
            assert!(error.to_string().contains(named), "{error}");
        }
        assert!(matches!(draw("<svg viewBox='0 0 0 0'/>"), Err(LogoError::Size)));
        assert!(matches!(draw("<svg viewBox='0 0 1 99'/>"), Err(LogoError::Size)));
    }
}
