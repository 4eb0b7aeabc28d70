//! `overwinter`: plans solar LoRaWAN nodes that live outdoors for years.

mod chart;
mod report;

fn main() {
    
}

#[cfg(test)]
mod draft {
    #[test]
    fn draft() {
        let (s, p) = (crate::report::fixture::subject(), crate::report::fixture::plan());
        std::fs::write("/tmp/app/f.html", crate::report::html::page(&s, &p)).expect("w");
        std::fs::write("/tmp/app/f.txt", crate::report::text::page(&s, &p) + &crate::report::text::everything(&s, &p)).expect("w");
        std::fs::write("/tmp/app/f.json", serde_json::to_string_pretty(&crate::report::json::plan(&s, &p)).expect("j")).expect("w");
    }
}
