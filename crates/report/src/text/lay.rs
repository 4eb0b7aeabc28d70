//! Laying text out in columns: wrapping, clipping, bars.

use anstyle::Style;

use crate::words::whole;

/// Text in a style; the stream drops the style where it can't be shown.
pub fn paint(style: Style, text: &str) -> String {
    format!("{style}{text}{style:#}")
}

/// Text cut to so many columns, with an ellipsis where something was cut.
pub fn clip(text: &str, columns: usize) -> String {
    if text.chars().count() <= columns {
        return text.to_owned();
    }
    let kept: String = text.chars().take(columns.saturating_sub(1)).collect();
    format!("{}…", kept.trim_end())
}

/// Text broken at spaces into lines of so many columns.
pub fn wrap(text: &str, columns: usize) -> Vec<String> {
    wrap_indented(text, columns, "")
}

/// The same with every line but the first indented.
pub fn wrap_indented(text: &str, columns: usize, indent: &str) -> Vec<String> {
    // A figure and its per cent stay together.
    let text = text.replace(" %", "\u{a0}%");
    let mut lines = vec![String::new()];
    for word in text.split(|one: char| one.is_whitespace() && one != '\u{a0}').filter(|word| !word.is_empty())
    {
        let last = lines.last_mut().expect("starts with one line");
        let used = last.chars().count();
        if used > indent.len() && used + 1 + word.chars().count() > columns {
            lines.push(format!("{indent}{}", clip(word, columns - indent.len())));
        } else {
            if used > 0 && last != indent {
                last.push(' ');
            }
            let room = columns.saturating_sub(last.chars().count());
            last.push_str(&clip(word, room));
        }
    }
    lines.into_iter().map(|line| line.replace('\u{a0}', " ")).collect()
}

/// A bar of at most `columns`, in eighths of a column; anything above zero shows.
pub fn bar(value: f64, largest: f64, columns: usize) -> String {
    const EIGHTHS: [&str; 8] = ["", "▏", "▎", "▍", "▌", "▋", "▊", "▉"];
    if value <= 0.0 || largest <= 0.0 {
        return String::new();
    }
    let eighths = whole((value / largest).min(1.0) * columns as f64 * 8.0).max(1);
    format!("{}{}", "█".repeat(eighths / 8), EIGHTHS.get(eighths % 8).copied().unwrap_or(""))
}

/// A bar standing upright, `columns` wide, in eighths of a line; anything above zero shows.
pub fn column_bar(share: f64, columns: usize) -> String {
    const EIGHTHS: [&str; 9] = [" ", "▁", "▂", "▃", "▄", "▅", "▆", "▇", "█"];
    let eighth = whole(share.clamp(0.0, 1.0) * 8.0).max(usize::from(share > 0.0));
    EIGHTHS.get(eighth).copied().unwrap_or(" ").repeat(columns)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn wrapping_loses_no_word_and_keeps_the_width() {
        let text = "it charges below freezing for 212 hours a year, and nothing prevents it";
        for columns in 12..80 {
            let lines = wrap_indented(text, columns, "  ");
            assert!(lines.iter().all(|line| line.chars().count() <= columns));
            assert_eq!(lines.join(" ").split_whitespace().collect::<Vec<_>>().join(" "), text);
        }
        assert_eq!(wrap("abcdefghij", 5), ["abcd…"]);
        assert_eq!(wrap("never below 12 %", 14), ["never below", "12 %"]);
    }

    #[test]
    fn bars_are_in_proportion_and_never_vanish() {
        assert_eq!(bar(50.0, 100.0, 4), "██");
        assert_eq!(bar(0.001, 100.0, 4), "▏");
        assert_eq!(bar(0.0, 100.0, 4), "");
        assert_eq!(column_bar(0.5, 3), "▄▄▄");
        assert_eq!(column_bar(7.0, 3), "███");
        assert_eq!(column_bar(0.0001, 3), "▁▁▁");
    }
}
