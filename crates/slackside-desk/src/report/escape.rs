//! Text for pages.

/// Text from a file or a person, made harmless.
pub fn escape(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for letter in text.chars() {
        match letter {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            '\'' => out.push_str("&#39;"),
            letter => out.push(letter),
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_comes_from_files_is_harmless() {
        assert_eq!(escape("<b a=\"1\">'&"), "&lt;b a=&quot;1&quot;&gt;&#39;&amp;");
    }
}
