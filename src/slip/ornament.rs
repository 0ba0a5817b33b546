//! Drawings of our own, computed for the paper's width: ornaments, tick boxes, a warning
//! sign, a ruler and test patterns.

use super::bitmap::{Area, Bitmap};
use super::document::{End, Ornament};
use std::f32::consts::{PI, TAU};

/// Stamps a round pen at a point; `radius` in dots.
fn pen(map: &mut Bitmap, x: f32, y: f32, radius: f32) {
    let reach = radius.ceil() as i32 + 1;
    let (cx, cy) = (x.round() as i32, y.round() as i32);
    for dy in -reach..=reach {
        for dx in -reach..=reach {
            let (px, py) = (cx + dx, cy + dy);
            let (ex, ey) = (px as f32 + 0.5 - x, py as f32 + 0.5 - y);
            if ex * ex + ey * ey <= radius * radius {
                map.blacken(px, py);
            }
        }
    }
}

/// An ornament for a paper so many dots wide, sizes scaled by `scale`.
pub fn ornament(kind: Ornament, end: End, width: u32, scale: f32) -> Bitmap {
    let map = match kind {
        Ornament::Waves => waves(width, scale),
        Ornament::Leaves => leaves(width, scale),
        Ornament::Plain => plain(width, scale),
    };
    match end {
        End::Head => map,
        End::Foot => upside_down(&map),
    }
}

/// Waves that swell towards the middle and rest at the shores; the lowest is the finest.
fn waves(width: u32, scale: f32) -> Bitmap {
    let lines = 5;
    let step = 10.5 * scale;
    let height = (step * (lines as f32 - 1.0) + 22.0 * scale).ceil();
    let mut map = Bitmap::new(width, height as u32);
    let inset = width as f32 * 0.06;
    let span = width as f32 - 2.0 * inset;
    let wave = 38.0 * scale;
    for line in 0..lines {
        let shift = line as f32 * 0.9;
        let radius = (1.9 - 0.27 * line as f32) * scale;
        let from = line as f32 * wave * 0.33;
        let mut x = from;
        while x <= span - from {
            let swell = (PI * x / span).sin().powi(2);
            let y = 11.0 * scale + line as f32 * step + (TAU * x / wave + shift).sin() * (1.2 + 5.4 * swell) * scale;
            pen(&mut map, inset + x, y, radius.max(0.8));
            x += 0.4;
        }
    }
    map
}

/// A stem with leaves to both sides, growing from the middle outwards.
fn leaves(width: u32, scale: f32) -> Bitmap {
    let height = (52.0 * scale).ceil();
    let mut map = Bitmap::new(width, height as u32);
    let (middle, axis) = (width as f32 / 2.0, height / 2.0);
    let reach = width as f32 * 0.40;
    let stem = |t: f32| axis + (t * TAU * 1.5).sin() * 3.0 * scale;
    for side in [-1.0, 1.0] {
        let mut t = 0.0;
        while t <= 1.0 {
            pen(&mut map, middle + side * (14.0 * scale + t * reach), stem(t), (1.5 - 0.6 * t) * scale);
            t += 0.0008;
        }
        let count = (reach / (17.0 * scale)) as i32;
        for leaf in 0..count {
            let t = (leaf as f32 + 0.6) / count as f32;
            let size = (24.0 - 11.0 * t) * scale;
            let up = if leaf % 2 == 0 { -1.0 } else { 1.0 };
            leaf_at(&mut map, middle + side * (14.0 * scale + t * reach), stem(t), side, up, size);
        }
    }
    // A bud in the middle.
    for angle in 0..6 {
        let a = angle as f32 * TAU / 6.0 + TAU / 12.0;
        for t in 0..60 {
            let r = t as f32 / 60.0;
            pen(
                &mut map,
                middle + a.cos() * r * 9.0 * scale,
                axis + a.sin() * r * 9.0 * scale,
                (PI * r).sin() * 2.6 * scale,
            );
        }
    }
    map
}

/// One pointed leaf: a spindle at half a right angle from the stem.
fn leaf_at(map: &mut Bitmap, x: f32, y: f32, side: f32, up: f32, size: f32) {
    for t in 0..80 {
        let r = t as f32 / 80.0;
        let bend = r * r * 0.25;
        pen(
            map,
            x + side * size * (r * 0.85 + bend * 0.3),
            y + up * size * (r * 0.72 - bend),
            (PI * r).sin() * size * 0.17,
        );
    }
}

fn plain(width: u32, scale: f32) -> Bitmap {
    let (thick, gap, thin) = ((4.0 * scale) as i32, (5.0 * scale) as i32, (2.0 * scale).max(1.0) as i32);
    let mut map = Bitmap::new(width, (thick + gap + thin) as u32);
    map.fill(Area { x: 0, y: 0, width: width as i32, height: thick });
    map.fill(Area { x: 0, y: thick + gap, width: width as i32, height: thin });
    map
}

fn upside_down(map: &Bitmap) -> Bitmap {
    let mut turned = Bitmap::new(map.width(), map.height());
    for y in 0..map.height() as i32 {
        for x in 0..map.width() as i32 {
            if map.is_black(x, y) {
                turned.blacken(map.width() as i32 - 1 - x, map.height() as i32 - 1 - y);
            }
        }
    }
    turned
}

/// An empty box to tick.
pub fn tick_box(size: u32, scale: f32) -> Bitmap {
    let mut map = Bitmap::new(size, size);
    let (side, line) = (size as i32, (2.0 * scale).round().max(2.0) as i32);
    map.fill(Area { x: 0, y: 0, width: side, height: side });
    map.invert(Area { x: line, y: line, width: side - 2 * line, height: side - 2 * line });
    map
}

/// A black triangle with a white exclamation mark.
pub fn caution(size: u32) -> Bitmap {
    let mut map = Bitmap::new(size, size);
    let side = size as f32;
    for y in 0..size as i32 {
        let half = side * 0.56 * (y as f32 + 1.0) / side;
        for x in 0..size as i32 {
            if (x as f32 + 0.5 - side / 2.0).abs() <= half {
                map.blacken(x, y);
            }
        }
    }
    let bar = (side * 0.13).round().max(2.0) as i32;
    let left = (size as i32 - bar) / 2;
    map.invert(Area { x: left, y: (side * 0.34) as i32, width: bar, height: (side * 0.32) as i32 });
    map.invert(Area { x: left, y: (side * 0.76) as i32, width: bar, height: (side * 0.13).round().max(2.0) as i32 });
    map
}

/// A ruler in millimetres for a head with so many dots an inch; every tenth mark is longest.
pub fn ruler(width: u32, dpi: u32) -> Bitmap {
    let mut map = Bitmap::new(width, 34);
    let mut mm = 0;
    loop {
        let x = (mm * dpi * 10 + 127) / 254;
        if x >= width {
            return map;
        }
        let length = if mm % 10 == 0 {
            30
        } else if mm % 5 == 0 {
            20
        } else {
            12
        };
        map.fill(Area { x: x as i32, y: 0, width: 2, height: length });
        mm += 1;
    }
}

/// Solid black, checks of growing size, single-dot lines: shows worn or blocked dots.
pub fn patterns(width: u32) -> Bitmap {
    let mut map = Bitmap::new(width, 128);
    map.fill(Area { x: 0, y: 0, width: width as i32, height: 24 });
    let mut x = 0;
    for size in [1, 2, 3, 4, 6, 8] {
        let end = x + width as i32 / 6;
        for y in 0..40 {
            for at in x..end.min(width as i32) {
                if ((at - x) / size + y / size) % 2 == 0 {
                    map.blacken(at, 32 + y);
                }
            }
        }
        x = end;
    }
    for at in 0..width as i32 {
        let thick = if (at / 64) % 2 == 0 { 1 } else { 2 };
        if at % 4 < thick {
            map.fill(Area { x: at, y: 80, width: 1, height: 24 });
        }
    }
    // A slope across the whole width: a dead dot shows as a gap.
    for at in 0..width as i32 {
        map.fill(Area { x: at, y: 108 + at % 16, width: 1, height: 3 });
    }
    map
}
