//! Solvents: canonical texts, printed spellings, kinship, cautions.

use biot::solvent::{
    Amount, Buffer, Component, Kinship, Mixture, Ratio, Solution, Solvent, SolventError, Strength, Substance, kinship,
    nearest,
};
use proptest::prelude::*;

fn solvent(text: &str) -> Solvent {
    Solvent::parse(text).unwrap_or_else(|error| panic!("{error}"))
}

/// The ids are those of the labelled and published statements in the open reference data (see `found_in`).
#[test]
fn every_solvent_of_the_reference_data_is_read_and_printed_unchanged() {
    let mut reader =
        csv::Reader::from_path(concat!(env!("CARGO_MANIFEST_DIR"), "/tests/data/solvent_ids.csv")).unwrap();
    let mut count = 0;
    for row in reader.records() {
        let id = row.unwrap()[0].to_string();
        // The one freedom: a trailing zero of a strength is not kept (`HCl 6.0 M aq`).
        let expected = id.replace(".0 ", " ");
        assert_eq!(solvent(&id).to_string(), expected);
        assert!(!matches!(solvent(&id), Solvent::Other(_)), "{id}");
        count += 1;
    }
    assert!(count > 70);
}

/// Spellings taken from printed statements (pharmacopoeial texts, journals, data sheets) and common practice.
#[test]
fn reads_what_the_literature_prints() {
    let cases = [
        ("water", "H2O"),
        ("H₂O", "H2O"),
        ("H_2O", "H2O"),
        ("H~2~O", "H2O"),
        ("Wasser", "H2O"),
        ("水", "H2O"),
        ("AQ SOLN", "H2O"),
        ("aqueous solution", "H2O"),
        ("deuterated water", "D2O"),
        ("CH3OH", "MeOH"),
        ("METHANOL", "MeOH"),
        ("methyl alcohol", "MeOH"),
        ("alcohol", "EtOH"),
        ("alc.", "EtOH"),
        ("Alkohol", "EtOH"),
        ("C₂H₅OH", "EtOH"),
        ("95% ethanol", "EtOH 95%"),
        ("95 per cent alcohol", "EtOH 95%"),
        ("ethanol (95 %)", "EtOH 95%"),
        ("97% alcohol", "EtOH 97%"),
        ("95 % aqueous ethanol", "EtOH 95%"),
        ("aqueous ethanol 70 %", "EtOH 70% aq"),
        ("50% aq. MeOH", "MeOH 50% aq"),
        ("aqueous methanol", "MeOH aq"),
        ("80% MeOH/H2O", "MeOH 80% aq"),
        ("80% w/w ethanol", "EtOH 80% w/w aq"),
        ("absolute alcohol", "EtOH abs"),
        ("abs. EtOH", "EtOH abs"),
        ("dehydrated alcohol", "EtOH abs"),
        ("anhydrous ethanol", "EtOH abs"),
        ("100% ethanol", "EtOH abs"),
        ("无水乙醇", "EtOH abs"),
        ("i-PrOH", "iPrOH"),
        ("isopropyl alcohol", "iPrOH"),
        ("propan-2-ol", "iPrOH"),
        ("2-propanol", "iPrOH"),
        ("n-butanol", "nBuOH"),
        ("tert-butanol", "tBuOH"),
        ("CHCl₃", "CHCl3"),
        ("CHCl_3", "CHCl3"),
        ("CHCl_{3}", "CHCl3"),
        ("$\\mathrm{CHCl_3}$", "CHCl3"),
        ("CHCl~3~", "CHCl3"),
        ("CHCl<sub>3</sub>", "CHCl3"),
        ("CHC13", "CHCl3"),
        ("CHCI3", "CHCl3"),
        ("ethanol-stabilized chloroform", "CHCl3 EtOH-stabilised"),
        ("dry chloroform", "CHCl3 dry"),
        ("CDCl₃", "CDCl3"),
        ("methylene chloride", "CH2Cl2"),
        ("carbon tetrachloride", "CCl4"),
        ("ClCH2CH2Cl", "1,2-dichloroethane"),
        ("ether", "Et2O"),
        ("Äther", "Et2O"),
        ("A\u{308}ther", "Et2O"),
        ("diethyl ether", "Et2O"),
        ("ethyl acetate", "EtOAc"),
        ("AcOEt", "EtOAc"),
        ("1,4-dioxane", "dioxane"),
        ("tetrahydrofuran", "THF"),
        ("CH3CN", "MeCN"),
        ("dimethyl formamide", "DMF"),
        ("N,N‑dimethylformamide", "DMF"),
        ("acidic N,N-dimethylformamide", "acidic DMF"),
        ("dimethyl sulphoxide", "DMSO"),
        ("anhydrous pyridine", "pyridine"),
        ("Benzol", "benzene"),
        ("hexanes", "hexane"),
        ("n-hexane", "hexane"),
        ("glacial acetic acid", "AcOH"),
        ("HOAc", "AcOH"),
        ("HCOOH", "formic acid"),
        ("CF3CO2H", "TFA"),
        ("undiluted", "neat"),
        ("2 N HCl", "HCl 2 N aq"),
        ("2N-HCl", "HCl 2 N aq"),
        ("0.6N HCl", "HCl 0.6 N aq"),
        ("5NHCl", "HCl 5 N aq"),
        ("N HCl", "HCl 1 N aq"),
        ("N/10 HCl", "HCl 0.1 N aq"),
        ("5.6 NORMAL HCL", "HCl 5.6 N aq"),
        ("6.0 N hydrochloric acid", "HCl 6 N aq"),
        ("hydrochloric acid, 0.5 N", "HCl 0.5 N aq"),
        ("6 mol/L HCl", "HCl 6 M aq"),
        ("0.01mol/L鹽酸溶液", "HCl 0.01 M aq"),
        ("0.1 mol dm⁻³ HCl", "HCl 0.1 M aq"),
        ("5M HCl", "HCl 5 M aq"),
        ("50 mM HCl", "HCl 0.05 M aq"),
        ("dil. HCl", "HCl dilute aq"),
        ("dilute hydrochloric acid", "HCl dilute aq"),
        ("aqueous HCl", "HCl aq"),
        ("10% HCl", "HCl 10% aq"),
        ("water with 1 equiv hydrochloric acid", "HCl 1 equiv aq"),
        ("1 equiv. HCl", "HCl 1 equiv aq"),
        ("0.1N ethanolic HCl", "HCl 0.1 N in EtOH"),
        ("0.1 N methanolic hydrochloric acid", "HCl 0.1 N in MeOH"),
        ("0.1 N HCl in methanol", "HCl 0.1 N in MeOH"),
        ("N alcohol KOH", "KOH 1 N in EtOH"),
        ("0,05 N sodium hydroxide solution", "NaOH 0.05 N aq"),
        ("0.5N of NaOH", "NaOH 0.5 N aq"),
        ("2% NAOH", "NaOH 2% aq"),
        ("0.1N sulfuric acid", "H2SO4 0.1 N aq"),
        ("0.012 N ammonium hydroxide", "NH3 0.012 N aq"),
        ("15 N formic acid", "formic acid 15 N aq"),
        ("1% HOAc", "AcOH 1% aq"),
        ("dilute acetic acid", "AcOH dilute aq"),
        ("MeOH-H2O (1:1)", "MeOH/H2O 1:1"),
        ("CHCl3-MeOH, 9:1", "CHCl3/MeOH 9:1"),
        ("ethanol/water 1:1 v/v", "EtOH/H2O 1:1"),
        ("MeOH:H2O = 7:3", "MeOH/H2O 7:3"),
        ("1:1 MeOH/H2O", "MeOH/H2O 1:1"),
        ("methanol and water (1:1, v/v)", "MeOH/H2O 1:1"),
        ("CHCl₃–MeOH", "CHCl3/MeOH"),
        ("acetonitrile/water", "MeCN/H2O"),
        ("CHCl3/MeOH/H2O 65:25:4", "CHCl3/MeOH/H2O 65:25:4"),
        (
            "a mixture of 1 part N hydrogen chloride + 2 parts ethanol",
            "HCl 1 N aq/EtOH 1:2",
        ),
        ("equal volumes of ethanol and water", "EtOH/H2O 1:1"),
        ("water/disodium tetraborate", "H2O/borax aq"),
        ("MeOH containing 1% TFA", "TFA 1% in MeOH"),
        ("water pH 7 buffer", "pH 7 buffer"),
        ("0.1 M phosphate buffer, pH 7.4", "pH 7.4 phosphate buffer 0.1 M"),
        ("phosphate buffer (pH 7.4)", "pH 7.4 phosphate buffer"),
    ];
    for (printed, canonical) in cases {
        match Solvent::parse(printed) {
            Ok(read) => assert_eq!(read.to_string(), canonical, "{printed}"),
            Err(error) => panic!("{printed}: {error}"),
        }
        assert_eq!(solvent(canonical).to_string(), canonical);
    }
}

/// The phrases are cut out of printed statements; what follows must not be taken for a part of the solvent.
#[test]
fn reads_a_solvent_at_a_place_of_running_text() {
    let cases = [
        ("chloroform, 2%)", Some(("CHCl3", "chloroform"))),
        ("water, 1%), +2.4 deg", Some(("H2O", "water"))),
        ("ALC, 5%)", Some(("EtOH", "ALC"))),
        ("95% ethanol): -102.8", Some(("EtOH 95%", "95% ethanol"))),
        ("2% ethanol)", None),
        ("0.1% in methanol", None),
        ("1% HOAc)", Some(("AcOH 1% aq", "1% HOAc"))),
        (
            "hydrochloric acid, 0.5 N); +0.15",
            Some(("HCl 0.5 N aq", "hydrochloric acid, 0.5 N")),
        ),
        (
            "sodium hydroxide, 2.43% in 0.5 N)",
            Some(("NaOH aq", "sodium hydroxide")),
        ),
        ("CHCl~3~)'", Some(("CHCl3", "CHCl~3~"))),
        ("$\\mathrm{CHCl_3}$).", Some(("CHCl3", "$\\mathrm{CHCl_3}$"))),
        ("2N HCl, 200 mm tube", Some(("HCl 2 N aq", "2N HCl"))),
        ("EtOAc 2:1, v/v); [α]", Some(("EtOAc", "EtOAc"))),
        (
            "hexanes/EtOAc 2:1, v/v); [α]",
            Some(("hexane/EtOAc 2:1", "hexanes/EtOAc 2:1, v/v")),
        ),
        ("methanol and -30 in water", Some(("MeOH", "methanol"))),
        ("methanol and water", Some(("MeOH", "methanol"))),
        (
            "methanol and water (9:1) gave",
            Some(("MeOH/H2O 9:1", "methanol and water (9:1)")),
        ),
        ("ethanol): -92.9", Some(("EtOH", "ethanol"))),
        ("neat, d = 0.832", Some(("neat", "neat"))),
        (
            "0.1 N HCl in methanol)",
            Some(("HCl 0.1 N in MeOH", "0.1 N HCl in methanol")),
        ),
        ("chlorophyll", None),
        ("ethereal", None),
        ("Cobalt", None),
        ("CO", None),
        ("6N HCl (38 mols HCl per mol leucine)", Some(("HCl 6 N aq", "6N HCl"))),
        ("acid", None),
        ("D (chloroform)", None),
        ("D20 -12", None),
        ("1 % w/v solution in glacial acetic acid", None),
        (
            "0.0 N sodium hydroxide, 0.5%",
            Some(("NaOH aq", "0.0 N sodium hydroxide")),
        ),
        ("1.5 g", None),
        ("", None),
    ];
    for (text, expected) in cases {
        let found = Solvent::find_at(text).map(|(solvent, length)| (solvent.to_string(), text[..length].to_string()));
        let expected = expected.map(|(id, phrase)| (id.to_string(), phrase.to_string()));
        assert_eq!(found, expected, "{text}");
    }
}

#[test]
fn an_unknown_solvent_is_an_error_that_offers_near_names() {
    let Err(SolventError::Unknown { unread, .. }) = Solvent::parse("chlorofrom") else {
        panic!("read")
    };
    assert_eq!((unread.as_str(), nearest(&unread)[0].as_str()), ("chlorofrom", "CHCl3"));
    let error = Solvent::parse("HCl 1 N aq/moonshine").unwrap_err();
    assert_eq!(
        error.to_string(),
        "`/moonshine` in the solvent `HCl 1 N aq/moonshine` is not known"
    );
    assert_eq!(Solvent::parse("  "), Err(SolventError::Empty));
    for text in [
        "EtOH 0%",
        "EtOH 120%",
        "HCl 0 N aq",
        "H2O/H2O",
        "MeOH/H2O 1:0",
        "pH 15 buffer",
        "MeOH/H2O 1:1:1",
    ] {
        assert!(Solvent::parse(text).is_err(), "{text}");
    }
}

#[test]
fn a_plain_name_is_kept_by_the_lenient_reader_only() {
    let kept = Solvent::parse_lenient("  oil of   cade ").unwrap();
    assert_eq!(kept.to_string(), "oil of cade");
    assert!(matches!(kept, Solvent::Other(_)));
    assert_eq!(Solvent::parse_lenient("chloroform"), Solvent::parse("CHCl3"));
    assert_eq!(Solvent::parse_lenient(""), Err(SolventError::Empty));
    let json = serde_json::to_string(&kept).unwrap();
    assert_eq!(json, "\"oil of cade\"");
    assert_eq!(serde_json::from_str::<Solvent>(&json).unwrap(), kept);
}

/// The rules are common practice; each line is one rule.
#[test]
fn kinship_follows_its_rules() {
    use Kinship::{Kindred, Other, Same};
    let cases = [
        ("CHCl3", "CHCl3", Same),
        ("CHCl3", "CDCl3", Kindred),
        ("CHCl3", "CHCl3 EtOH-stabilised", Kindred),
        ("CHCl3", "CH2Cl2", Kindred),
        ("CHCl3", "CCl4", Other),
        ("CHCl3", "MeOH", Other),
        ("ethylene chloride", "ethylene dichloride", Same),
        ("ethylene chloride", "1,2-dichloroethane", Same),
        ("EtOH", "EtOH 95%", Kindred),
        ("EtOH", "EtOH abs", Kindred),
        ("EtOH", "EtOH 50% aq", Other),
        ("EtOH 95%", "EtOH 97%", Kindred),
        ("EtOH 95%", "EtOH 95%", Same),
        ("MeOH", "iPrOH", Kindred),
        ("hexane", "cyclohexane", Kindred),
        ("H2O", "D2O", Kindred),
        ("H2O", "HCl 0.01 N aq", Other),
        ("H2O", "NaOH 0.1 N aq", Other),
        ("H2O", "pH 7 buffer", Other),
        ("pH 7 buffer", "pH 7 buffer", Same),
        ("pH 7 buffer", "pH 7.4 phosphate buffer", Kindred),
        ("pH 7 buffer", "pH 9 buffer", Other),
        ("HCl 1 N aq", "HCl 1 M aq", Same),
        ("H2SO4 1 N aq", "H2SO4 0.5 M aq", Same),
        ("H2SO4 1 N aq", "H2SO4 1 M aq", Kindred),
        ("HCl 5 N aq", "HCl 6 N aq", Kindred),
        ("HCl 1 N aq", "HCl 2 N aq", Kindred),
        ("HCl 1 N aq", "HCl 6 N aq", Other),
        ("HCl 1 N aq", "HCl 1 N aq", Same),
        ("HCl aq", "HCl aq", Kindred),
        ("HCl aq", "HCl 1 N aq", Other),
        ("HCl dilute aq", "HCl 1 N aq", Other),
        ("HCl 10% aq", "HCl 2 N aq", Other),
        ("HCl 1 N aq", "NaOH 1 N aq", Other),
        ("HCl 0.1 N aq", "HCl 0.1 N in EtOH", Other),
        ("AcOH", "AcOH 1% aq", Other),
        ("AcOH", "TFA", Other),
        ("neat", "neat", Same),
        ("neat", "CHCl3", Other),
        ("MeOH/H2O 1:1", "H2O/MeOH 1:1", Same),
        ("MeOH/H2O 1:1", "MeOH 50% aq", Same),
        ("MeOH/H2O 1:1", "MeOH/H2O 8:2", Kindred),
        ("MeOH/H2O 1:1", "MeOH/H2O 1:1 w/w", Kindred),
        ("CHCl3/MeOH", "CHCl3/MeOH 9:1", Kindred),
        ("CHCl3/MeOH", "CHCl3/MeOH", Kindred),
        ("CHCl3/MeOH 9:1", "CHCl3", Kindred),
        ("CHCl3/MeOH 4:1", "CHCl3", Other),
        ("CHCl3/TFA 95:5", "CHCl3", Other),
        ("EtOH 1% in CHCl3", "CHCl3", Kindred),
        ("HCl 1 N aq/EtOH 1:2", "HCl 1 N aq/EtOH 1:2", Same),
        ("HCl 1 N aq/EtOH 1:2", "EtOH", Other),
    ];
    for (a, b, expected) in cases {
        assert_eq!(kinship(&solvent(a), &solvent(b)), expected, "{a} and {b}");
        assert_eq!(kinship(&solvent(b), &solvent(a)), expected, "{b} and {a}");
    }
}

#[test]
fn cautions_name_the_hazard_and_end_with_where_to_look() {
    let cautions = solvent("CHCl3/MeOH 1:1").cautions();
    assert_eq!(cautions[0], "Chloroform: toxic, suspected carcinogen.");
    assert!(cautions.iter().any(|c| c.starts_with("Methanol: flammable")));
    assert_eq!(cautions.iter().filter(|c| c.contains("safety data sheet")).count(), 1);
    assert!(
        cautions
            .last()
            .unwrap()
            .contains("safety data sheet, local rules and trained supervision")
    );
    assert!(solvent("H2O").cautions().is_empty());
}

fn any_amount() -> impl Strategy<Value = Amount> {
    (1u32..200, 0u32..10_000)
        .prop_map(|(whole, decimals)| format!("{whole}.{decimals:04}").parse().expect("a decimal number"))
}

fn any_substance() -> impl Strategy<Value = Substance> {
    prop::sample::select(Substance::all().collect::<Vec<_>>())
}

fn any_solution() -> impl Strategy<Value = Solution> {
    let strength = prop_oneof![
        Just(Strength::Unstated),
        Just(Strength::Dilute),
        Just(Strength::Concentrated),
        any_amount().prop_map(Strength::Normal),
        any_amount().prop_map(Strength::Molar),
        any_amount().prop_map(Strength::Percent),
        any_amount().prop_map(Strength::PercentByMass),
        any_amount().prop_map(Strength::Equivalents),
    ];
    let medium = prop_oneof![
        Just(Substance::by_id("H2O").expect("water is in the table")),
        any_substance()
    ];
    (any_substance(), strength, medium).prop_filter_map("not a solution", |(solute, strength, medium)| {
        Solution::new(solute, strength, medium)
    })
}

fn any_buffer() -> impl Strategy<Value = Buffer> {
    let species = prop_oneof![
        Just(None),
        Just(Some("phosphate")),
        Just(Some("tris")),
        Just(Some("acetate"))
    ];
    (prop::option::of(any_amount()), species, prop::option::of(any_amount()))
        .prop_filter_map("not a buffer", |(ph, species, molar)| Buffer::new(ph, species, molar))
}

fn any_pure() -> impl Strategy<Value = Substance> {
    any_substance().prop_filter("a solute", |substance| substance.is_liquid())
}

fn any_solvent() -> impl Strategy<Value = Solvent> {
    let component = prop_oneof![
        3 => any_pure().prop_map(Component::Pure),
        1 => any_solution().prop_map(Component::Solution),
        1 => any_buffer().prop_map(Component::Buffer),
    ];
    let mixture = (prop::collection::vec((component, any_amount()), 2..5), 0usize..3).prop_filter_map(
        "no mixture",
        |(parts, basis)| {
            let (components, amounts): (Vec<_>, Vec<_>) = parts.into_iter().unzip();
            let ratio = [None, Ratio::by_volume(amounts.clone()), Ratio::by_mass(amounts)]
                .into_iter()
                .nth(basis)?;
            Mixture::new(components, ratio)
        },
    );
    prop_oneof![
        Just(Solvent::Neat),
        any_pure().prop_map(Solvent::Pure),
        any_solution().prop_map(Solvent::Solution),
        any_buffer().prop_map(Solvent::Buffer),
        mixture.prop_map(Solvent::Mixture),
    ]
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(2000))]

    #[test]
    fn what_is_printed_is_read_back(original in any_solvent()) {
        let printed = original.to_string();
        prop_assert_eq!(Solvent::parse(&printed), Ok(original), "{}", printed);
    }

    #[test]
    fn any_text_is_read_without_panic_and_within_its_length(text in "\\PC{0,40}") {
        let _ = Solvent::parse_lenient(&text);
        if let Some((_, length)) = Solvent::find_at(&text) {
            prop_assert!(text.is_char_boundary(length) && length > 0);
        }
    }

    #[test]
    fn texts_near_solvents_are_read_without_panic(words in prop::collection::vec(prop::sample::select(vec![
        "HCl", "2", "N", "%", "/", "(", ")", ":", "1", "EtOH", "95", " ", "in", "aq", "pH", "buffer", "½", "₃", "CHCl", "~", "$", "{", "\\mathrm",
        "mixture of", "parts", "-", "–", ",", "0,1", "盐酸", "\u{308}", "acidic", "<sub>", "</sub>", "v/v", "equiv", "M", "7.4", "N/10", "N/0",
    ]), 0..9)) {
        let text = words.concat();
        let lenient = Solvent::parse_lenient(&text);
        if let Ok(solvent) = lenient {
            prop_assert_eq!(Solvent::parse_lenient(&solvent.to_string()), Ok(solvent));
        }
        let _ = Solvent::find_at(&text);
    }

    #[test]
    fn kinship_is_symmetric_and_a_solvent_is_kin_to_itself(a in any_solvent(), b in any_solvent()) {
        prop_assert_eq!(kinship(&a, &b), kinship(&b, &a));
        prop_assert_ne!(kinship(&a, &a), Kinship::Other);
    }
}
