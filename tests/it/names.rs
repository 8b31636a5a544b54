//! Searching names: every name finds its compound first, shared names list all owners, and one typing error in a long
//! word is forgiven. Recall is measured over all names of the starter library and printed.

use crate::starter::starter_library;
use biot::compound::name::{self, TokenKind};
use biot::library::{Compound, CompoundId, Filter, Library, Why};
use biot::tasks::resolve::{By, Resolution, resolve};
use std::collections::BTreeMap;

/// All names of the library with the compounds that own them, spelling aside.
fn owners(library: &Library) -> BTreeMap<String, (String, Vec<CompoundId>)> {
    let mut owners: BTreeMap<String, (String, Vec<CompoundId>)> = BTreeMap::new();
    library
        .for_each_compound(|compound| {
            for name in std::iter::once(&compound.name).chain(&compound.other_names) {
                let folded = name::fold(&name::turned_around(name));
                let owner = owners.entry(folded).or_insert_with(|| (name.clone(), Vec::new()));
                if !owner.1.contains(&compound.id) {
                    owner.1.push(compound.id);
                }
            }
            Ok(())
        })
        .unwrap();
    owners
}

#[test]
fn every_name_finds_its_owners_first() {
    let (_folder, library) = starter_library();
    let owners = owners(&library);
    assert!(owners.len() > 1000);
    for (name, ids) in owners.values() {
        let hits = library.search(name, &Filter::default(), ids.len() + 3).unwrap().hits;
        let first: Vec<CompoundId> = hits.iter().take(ids.len()).map(|hit| hit.compound.id).collect();
        for id in ids {
            assert!(first.contains(id), "{name}: {first:?}");
        }
    }
}

/// A small generator with a fixed seed: the errors must be the same in every run (Steele, Lea, Flood, OOPSLA 2014:
/// SplitMix64).
struct Seeded(u64);

impl Seeded {
    fn below(&mut self, n: usize) -> usize {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        ((z ^ (z >> 31)) % n as u64) as usize
    }
}

/// The name with one typing error in a word of six or more letters, or None when it has none. Locants, numbers and
/// descriptors are never touched.
fn with_typing_error(name: &str, random: &mut Seeded) -> Option<String> {
    let words: Vec<String> = name::tokens(name)
        .into_iter()
        .filter(|token| token.kind == TokenKind::Word)
        .map(|token| token.text)
        .filter(|word| word.chars().count() >= 6 && word.chars().all(|c| c.is_ascii_lowercase()))
        .filter(|word| name.contains(word.as_str()))
        .collect();
    if words.is_empty() {
        return None;
    }
    let word = &words[random.below(words.len())];
    let mut letters: Vec<char> = word.chars().collect();
    let at = random.below(letters.len());
    let letter = char::from(b'a' + random.below(26) as u8);
    match random.below(4) {
        0 => letters.insert(at, letter),
        1 => {
            letters.remove(at);
        }
        2 => letters[at] = letter,
        _ => {
            let at = at.min(letters.len() - 2);
            letters.swap(at, at + 1);
        }
    }
    let wrong: String = letters.into_iter().collect();
    (wrong != *word).then(|| name.replacen(word.as_str(), &wrong, 1))
}

#[test]
#[expect(clippy::print_stdout, reason = "what was measured is shown by the test run")]
fn one_typing_error_in_a_long_word_is_forgiven() {
    let (_folder, library) = starter_library();
    let owners = owners(&library);
    let mut random = Seeded(20_261_125);
    let (mut n, mut first, mut in_five, mut silent) = (0_usize, 0, 0, Vec::new());
    let mut missed = Vec::new();
    for (name, ids) in owners.values() {
        let Some(typed) = with_typing_error(name, &mut random) else {
            continue;
        };
        if owners.contains_key(&name::fold(&name::turned_around(&typed))) {
            continue;
        }
        n += 1;
        let hits = library.search(&typed, &Filter::default(), 5).unwrap().hits;
        let found = hits.iter().position(|hit| ids.contains(&hit.compound.id));
        first += usize::from(found == Some(0));
        in_five += usize::from(found.is_some());
        if found != Some(0) {
            missed.push(format!("{typed} -> {:?}", hits.first().map(|hit| &hit.matched)));
        }
        if n.is_multiple_of(10) && matches!(resolve(&library, &typed).unwrap(), Resolution::One(_)) {
            silent.push(typed);
        }
    }
    let share = |k: usize| 100.0 * k as f64 / n as f64;
    println!(
        "names with one typing error: {n}; recall@1 {:.2} %, recall@5 {:.2} %",
        share(first),
        share(in_five)
    );
    println!("not first: {missed:#?}");
    assert!(n > 700, "{n}");
    assert!(share(first) >= 99.0 && share(in_five) >= 99.0);
    assert_eq!(
        silent,
        Vec::<String>::new(),
        "a typing error was taken for what it may mean"
    );
}

/// Words of six or more letters, by their first four: a hundred and twenty names drawn by chance.
#[test]
#[expect(clippy::print_stdout, reason = "what was measured is shown by the test run")]
fn the_beginning_of_a_word_finds_its_owners() {
    let (_folder, library) = starter_library();
    let owners = owners(&library);
    let mut random = Seeded(20_261_126);
    let mut words: Vec<(String, &Vec<CompoundId>)> = Vec::new();
    for (name, ids) in owners.values() {
        for token in name::tokens(name) {
            let is_word = token.kind == TokenKind::Word && token.text.chars().all(|c| c.is_ascii_lowercase());
            if is_word && token.text.len() >= 6 {
                words.push((token.text, ids));
            }
        }
    }
    let (mut by_beginning, mut most, mut cut) = (0, 0, 0);
    for _ in 0..120 {
        let (word, ids) = &words[random.below(words.len())];
        let typed = &word[..4];
        let found = library.search(typed, &Filter::default(), 1000).unwrap();
        assert_eq!(found.notice, None);
        for id in *ids {
            let hit = found.hits.iter().find(|hit| hit.compound.id == *id);
            if hit.is_none() && found.hits.len() == 200 {
                // The list is cut there.
                cut += 1;
                continue;
            }
            let hit = hit.unwrap_or_else(|| panic!("{typed} does not find {word} of {id:?}"));
            // Another name of the compound may fit better.
            assert!(hit.why <= Why::BeginsWith, "{typed}: {hit:?}");
        }
        let begun = found.hits.iter().filter(|hit| hit.why == Why::BeginsWith);
        for hit in begun.clone() {
            let words = name::tokens(&hit.matched);
            assert!(
                words.iter().any(|word| word.text.starts_with(typed)),
                "{typed}: {hit:?}"
            );
        }
        by_beginning += usize::from(begun.count() > 0);
        most = most.max(found.hits.len());
        assert!(found.hits.is_sorted_by_key(|hit| hit.why), "{typed}");
        // Never decided, only offered.
        if found.hits.iter().all(|hit| hit.why >= Why::BeginsWith) {
            let Resolution::Unknown { nearest, .. } = resolve(&library, typed).unwrap() else {
                panic!("the beginning {typed} was taken for a name");
            };
            assert!(!nearest.is_empty(), "{typed}");
        }
    }
    println!("120 beginnings, {by_beginning} of them of some longer word; {most} compounds at most, {cut} cut off");
    assert!(by_beginning > 110 && cut <= 2, "{by_beginning}, {cut}");
}

#[test]
fn a_beginning_has_three_letters_and_stands_after_whole_words() {
    let (_folder, library) = starter_library();
    let search = |typed: &str| library.search(typed, &Filter::default(), 1000).unwrap().hits;
    let names = |typed: &str| -> Vec<String> { search(typed).into_iter().map(|hit| hit.compound.name).collect() };
    assert!(
        names("chol").contains(&"(−)-cholesterol".to_owned()),
        "{:?}",
        names("chol")
    );
    assert!(
        names("CHO").contains(&"(−)-cholesterol".to_owned()),
        "{:?}",
        names("CHO")
    );
    assert!(names("ch").is_empty(), "{:?}", names("ch"));
    assert!(names("lesterol").is_empty(), "{:?}", names("lesterol"));
    // Each word may be a beginning.
    assert_eq!(search("tart aci")[0].why, Why::BeginsWith);
    // A descriptor is no word.
    assert!(search("tra").iter().all(|hit| {
        let words = name::tokens(&hit.matched);
        let mut words = words.iter().filter(|word| word.kind == TokenKind::Word);
        words.any(|word| word.text.starts_with("tra"))
    }));
    // Whole words come first.
    let hits = search("methyl");
    assert_eq!(hits[0].why, Why::AllWords, "{hits:?}");
    assert!(hits.iter().any(|hit| hit.why == Why::BeginsWith), "{hits:?}");
    assert!(hits.is_sorted_by_key(|hit| hit.why), "{hits:?}");
}

fn one(resolution: Resolution) -> Compound {
    match resolution {
        Resolution::One(resolved) => resolved.compound,
        other => panic!("{other:?}"),
    }
}

#[test]
fn an_ambiguous_name_is_answered_with_its_family() {
    let (_folder, library) = starter_library();
    let Resolution::Ambiguous { candidates, .. } = resolve(&library, "menthol").unwrap() else {
        panic!("menthol decided");
    };
    let laevo = candidates
        .iter()
        .find(|c| c.compound.name.contains("(−)-menthol"))
        .unwrap();
    assert!(laevo.signs.minus > 0 && laevo.signs.plus == 0, "{laevo:?}");
    assert!(laevo.descriptors.contains(&"(-)".to_owned()), "{laevo:?}");
    assert!(candidates.len() >= 2);
    // `l-` ranks but never decides.
    let Resolution::Ambiguous { candidates, .. } = resolve(&library, "l-menthol").unwrap() else {
        panic!("l-menthol decided");
    };
    assert_eq!(candidates[0].compound.id, laevo.compound.id);
    let Resolution::Ambiguous { candidates, .. } = resolve(&library, "gossypol").unwrap() else {
        panic!("gossypol decided");
    };
    assert_eq!(candidates.len(), 2);
}

#[test]
fn descriptors_numbers_and_structures_decide() {
    let (_folder, library) = starter_library();
    for name in [
        "(-)-menthol",
        "(−)-menthol",
        "L-(-)-Menthol",
        "menthol, (-)-",
        "L-menthol",
    ] {
        assert_eq!(
            one(resolve(&library, name).unwrap()).name,
            "(−)-menthol (L-menthol)",
            "{name}"
        );
    }
    let alanine = one(resolve(&library, "L-Alanine").unwrap());
    for text in [
        "QNAYBMKLOCPYGJ-REOHCLBHSA-N",
        "InChI=1S/C3H7NO2/c1-2(4)3(5)6/h2H,4H2,1H3,(H,5,6)/t2-/m0/s1",
        "C[C@H](N)C(=O)O",
        &format!("#{}", alanine.id),
    ] {
        assert_eq!(one(resolve(&library, text).unwrap()).id, alanine.id, "{text}");
    }
    let Resolution::One(resolved) = resolve(&library, "58-22-0").unwrap() else {
        panic!("no testosterone");
    };
    assert_eq!(
        (resolved.by, resolved.compound.name.as_str()),
        (By::Cas, "testosterone")
    );
    // A wrong check digit is said, not searched for.
    let Resolution::Unknown { reason, .. } = resolve(&library, "58-22-1").unwrap() else {
        panic!("58-22-1 found");
    };
    assert!(reason.contains("check digit"), "{reason}");
    // The other hand of a structure that is there is unknown, and its mirror image is offered.
    let Resolution::Unknown { nearest, .. } = resolve(&library, "C[C@H](O)CCO").unwrap() else {
        panic!("(S)-1,3-butanediol found");
    };
    assert_eq!(nearest[0].compound.name, "(R)-(−)-1,3-butanediol");
    // A name that is excluded by its descriptor does not fall back on the other hand.
    let resolution = resolve(&library, "(S)-(+)-1,3-butanediol").unwrap();
    assert!(
        matches!(resolution, Resolution::Unknown { ref nearest, .. } if !nearest.is_empty()),
        "{resolution:?}"
    );
    // A formula means no compound.
    assert!(matches!(
        resolve(&library, "C10H20O").unwrap(),
        Resolution::Ambiguous { .. }
    ));
    assert!(matches!(
        resolve(&library, "no such thing at all").unwrap(),
        Resolution::Unknown { .. }
    ));
}

/// A name that one compound owns finds it, unless it gives no configuration and stereoisomers share its stem.
#[test]
#[expect(clippy::print_stdout, reason = "what was measured is shown by the test run")]
fn owned_names_resolve() {
    let (_folder, library) = starter_library();
    let (mut decided, mut asked) = (0, Vec::new());
    for (name, ids) in owners(&library).values() {
        match resolve(&library, name).unwrap() {
            Resolution::One(resolved) => {
                assert_eq!(vec![resolved.compound.id], *ids, "{name}");
                decided += 1;
            }
            Resolution::Ambiguous { candidates, .. } => {
                for id in ids {
                    assert!(
                        candidates.iter().any(|candidate| candidate.compound.id == *id),
                        "{name}"
                    );
                }
                asked.push(name.clone());
            }
            Resolution::Unknown { reason, .. } => panic!("{name}: {reason}"),
        }
    }
    println!("{decided} names decide, {} ask: {asked:?}", asked.len());
    assert!(asked.len() < decided / 20);
}
