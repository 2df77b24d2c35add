//! The one embedded typeface, for the figures in page and PNG and for sheets and side notes.

use base64::Engine as _;
use plotters::style::{FontStyle, register_font};
use resvg::usvg::fontdb;
use std::sync::OnceLock;

/// The family's name, in SVG, CSS and the font files.
pub const FAMILY: &str = "Inter";

const REGULAR: &[u8] = include_bytes!("fonts/Inter-Regular.ttf");
const SEMI_BOLD: &[u8] = include_bytes!("fonts/Inter-SemiBold.ttf");
const REGULAR_WEB: &[u8] = include_bytes!("fonts/Inter-Regular.woff2");
const SEMI_BOLD_WEB: &[u8] = include_bytes!("fonts/Inter-SemiBold.woff2");

/// The name under which the library that draws knows the family when it measures. Under the family's own name it knows nothing: it
/// would copy the tables for every text that it writes, though an SVG needs the name alone.
pub const MEASURED: &str = "Inter, measured";

/// Makes the family known to the library that measures text; true when both weights could be read.
pub fn ready_to_measure() -> bool {
    static READY: OnceLock<bool> = OnceLock::new();
    *READY.get_or_init(|| {
        register_font(MEASURED, FontStyle::Normal, REGULAR).is_ok()
            && register_font(MEASURED, FontStyle::Bold, SEMI_BOLD).is_ok()
    })
}

/// The family alone, for drawing PNGs: no font of the machine is ever used.
pub fn for_drawing() -> fontdb::Database {
    let mut fonts = fontdb::Database::new();
    fonts.load_font_data(REGULAR.to_vec());
    fonts.load_font_data(SEMI_BOLD.to_vec());
    fonts
}

/// The family as CSS, so that a page needs nothing from elsewhere.
pub fn css() -> &'static str {
    static CSS: OnceLock<String> = OnceLock::new();
    CSS.get_or_init(|| {
        [(400, REGULAR_WEB), (600, SEMI_BOLD_WEB)]
            .map(|(weight, bytes)| {
                let data = base64::engine::general_purpose::STANDARD.encode(bytes);
                format!(
                    "@font-face{{font-family:{FAMILY};font-weight:{weight};\
                     src:url(data:font/woff2;base64,{data}) format(\"woff2\")}}"
                )
            })
            .join("\n")
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn both_weights_are_found_under_the_family_name() {
        assert!(ready_to_measure());
        let fonts = for_drawing();
        let mut weights: Vec<u16> = fonts.faces().map(|face| face.weight.0).collect();
        weights.sort_unstable();
        assert_eq!(weights, [400, 600]);
        assert!(fonts.faces().all(|face| face.families.iter().any(|(name, _)| name == FAMILY)));
    }

    #[test]
    fn the_page_css_holds_both_weights_and_no_address() {
        assert_eq!(css().matches("@font-face").count(), 2);
        assert!(!css().contains("http"));
    }
}
