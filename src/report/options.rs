//! Sentences for people who do not sit at the command line.

/// Options that sentences name, and what pages and paper call the same. A longer one stands before its own beginning.
const OPTIONS: [(&str, &str); 18] = [
    (" (--stage initial)", ""),
    ("give your own with --uncertainty", "state your own"),
    ("--angle-uncertainty", "the uncertainty of the angle"),
    ("--uncertainty", "the uncertainty"),
    ("--weighed-as", "the form weighed"),
    ("--value", "the specific rotation"),
    ("--angle", "the angle"),
    ("--cell", "the cell length"),
    ("--conc", "the concentration"),
    ("--mass", "the mass"),
    ("--volume", "the volume"),
    ("--density", "the density"),
    ("--formula", "the formula"),
    ("--map", "the heading"),
    ("--solvent", "the solvent"),
    ("--stage", "the stage"),
    ("--temperature-coefficient", "the temperature coefficient"),
    ("--temp", "the temperature"),
];

/// A sentence with words in the place of options of the command line, for pages and paper.
pub fn in_page_words(sentence: &str) -> String {
    let mut words = sentence.to_owned();
    for (option, word) in OPTIONS {
        // An example after the option repeats it: `give --cell, for example --cell "100 mm"`.
        words = words.replace(&format!("for example {option} "), "for example ");
        words = words.replace(option, word);
    }
    words
}

#[cfg(test)]
mod tests {
    use super::in_page_words;

    #[test]
    fn options_become_words() {
        assert_eq!(
            in_page_words("give --cell, for example --cell \"100 mm\", or --angle-uncertainty"),
            "give the cell length, for example \"100 mm\", or the uncertainty of the angle"
        );
        assert_eq!(
            in_page_words("give --temperature-coefficient"),
            "give the temperature coefficient"
        );
    }
}
