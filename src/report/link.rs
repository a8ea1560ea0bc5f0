//! Where a file lies, as a link that leads nowhere else.

use super::words;
use crate::path_text;
use maud::{Markup, html};

/// A link to a file below the folder of the report. `None` for a path that would lead out of it.
///
/// Bytes that are not UTF-8, which paths of a card write as `\xNN`, become those bytes again.
pub fn below(path: &str) -> Option<String> {
    let leads_out = path.is_empty()
        || path.starts_with('/')
        || path.split('/').any(|part| part == ".." || part == ".");
    // The dot in front makes it relative whatever follows.
    (!leads_out).then(|| format!("./{}", path_text::in_link(path)))
}

/// The file's name, as a link if it may be one.
pub fn to(path: &str) -> Markup {
    html! {
        @match below(path) {
            Some(href) => a href=(href) { bdi { (words::visible(path)) } },
            None => bdi { (words::visible(path)) },
        }
    }
}

#[cfg(test)]
mod tests {
    use super::below;

    #[test]
    fn ordinary_names_stay_readable() {
        assert_eq!(
            below("DCIM/A001.MOV.rollmark.json").as_deref(),
            Some("./DCIM/A001.MOV.rollmark.json")
        );
    }

    #[test]
    fn nothing_passes_for_a_scheme_a_query_or_a_tag() {
        assert_eq!(
            below("javascript:alert(1)").as_deref(),
            Some("./javascript%3Aalert%281%29")
        );
        assert_eq!(
            below("a b?c#d\"<e>'\n%.json").as_deref(),
            Some("./a%20b%3Fc%23d%22%3Ce%3E%27%0A%25.json")
        );
    }

    #[test]
    fn bytes_that_are_not_utf8_become_bytes_again() {
        assert_eq!(below("na\\xefve.json").as_deref(), Some("./na%EFve.json"));
        assert_eq!(below("a\\x5Cb.json").as_deref(), Some("./a%5Cb.json"));
        assert_eq!(below("ä.json").as_deref(), Some("./%C3%A4.json"));
        // A backslash that is only a backslash.
        assert_eq!(below("a\\x4.json").as_deref(), Some("./a%5Cx4.json"));
        assert_eq!(below("a\\xé").as_deref(), Some("./a%5Cx%C3%A9"));
    }

    #[test]
    fn no_link_leads_out_of_the_folder() {
        for path in ["", "/etc/passwd", "../x", "a/../../x", "//host/x", "./x"] {
            assert_eq!(below(path), None, "{path}");
        }
    }
}
