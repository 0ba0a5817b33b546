//! Paths into a payload: JSON pointers (RFC 6901) and JSONPath queries (RFC 9535).

/// Bytes of one path. The parser of queries takes exponential time on nested filters, so
/// that even those of a configuration are bounded.
pub(super) const PATH_BYTES_MAX: usize = 200;
/// Brackets within each other in one path; a thousand would overflow the parser's stack.
pub(super) const PATH_NESTING_MAX: usize = 4;

/// Is this a path? The error says what to write instead.
pub(super) fn check(path: &str) -> Result<(), String> {
    if path.len() > PATH_BYTES_MAX {
        return Err(format!("longer than {PATH_BYTES_MAX} bytes"));
    }
    match path.as_bytes().first() {
        None => Ok(()),
        Some(b'/') => pointer(path),
        Some(b'$') => query(path),
        Some(b'.' | b'[') => Err(format!("a query begins with $; write \"${path}\"")),
        Some(_) => Err(format!("a pointer begins with /; write \"/{}\"", path.replace('.', "/"))),
    }
}

/// RFC 6901 section 3: `~` only as `~0` (for `~`) and `~1` (for `/`).
fn pointer(path: &str) -> Result<(), String> {
    let mut rest = path;
    while let Some(at) = rest.find('~') {
        if !matches!(rest.as_bytes().get(at + 1), Some(b'0' | b'1')) {
            return Err("in a pointer ~ is written ~0, and / within a name ~1".to_owned());
        }
        rest = &rest[at + 2..];
    }
    Ok(())
}

fn query(path: &str) -> Result<(), String> {
    let mut depth = 0usize;
    for byte in path.bytes() {
        match byte {
            b'[' | b'(' => depth += 1,
            b']' | b')' => depth = depth.saturating_sub(1),
            _ => {}
        }
        if depth > PATH_NESTING_MAX {
            return Err(format!("more than {PATH_NESTING_MAX} brackets within each other"));
        }
    }
    serde_json_path::JsonPath::parse(path).map(drop).map_err(|why| format!("{why} (RFC 9535)"))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_published_pointers_are_taken_and_the_wrong_ones_refused() {
        // RFC 6901 section 5.
        for good in
            ["", "/foo", "/foo/0", "/", "/a~1b", "/c%d", "/e^f", "/g|h", "/i\\j", "/k\"l", "/ ", "/m~0n", "/~01"]
        {
            assert_eq!(check(good), Ok(()), "{good}");
        }
        for bad in ["foo", "/a~", "/a~2", "order.lines"] {
            assert!(check(bad).is_err(), "{bad}");
        }
        assert!(check("order.lines").unwrap_err().contains("\"/order/lines\""));
    }

    #[test]
    fn the_published_queries_are_taken_and_the_wrong_ones_refused() {
        // RFC 9535 section 1.5 (the bookstore).
        for good in ["$", "$.store.book[*].author", "$..author", "$..book[?@.price<10]", "$..book[0,1]", "$..*"] {
            assert_eq!(check(good), Ok(()), "{good}");
        }
        for bad in ["$.", "$[", "$.a[?]", "$$", ".a", "[0]"] {
            assert!(check(bad).is_err(), "{bad}");
        }
    }

    #[test]
    fn long_and_nested_paths_are_refused_before_they_are_parsed() {
        assert!(check(&format!("/{}", "a".repeat(PATH_BYTES_MAX - 1))).is_ok());
        assert!(check(&format!("/{}", "a".repeat(PATH_BYTES_MAX))).is_err());
        assert!(check("$[?@.a[?@.b[?@.c[?@.d]]]]").is_ok());
        assert!(check("$[?@.a[?@.b[?@.c[?@.d[?@.e]]]]]").is_err());
    }
}
