use super::*;
use IdentifierKind as Kind;

#[test]
fn the_words_parse() {
    let words = words().unwrap();
    assert!(words.headers.len() > 50 && words.cells.len() == 9);
    toml::from_str::<File>(EMBEDDED).unwrap();
}

const KINDS: [Kind; 20] = [
    Kind::Name,
    Kind::Address,
    Kind::Postcode,
    Kind::BirthDate,
    Kind::Phone,
    Kind::Fax,
    Kind::Email,
    Kind::SocialSecurity,
    Kind::RecordNumber,
    Kind::HealthPlan,
    Kind::Account,
    Kind::Licence,
    Kind::Vehicle,
    Kind::Device,
    Kind::Url,
    Kind::IpAddress,
    Kind::Biometric,
    Kind::Photo,
    Kind::FreeText,
    Kind::Other,
];

#[test]
fn every_kind_has_its_source_and_words_in_five_languages() {
    let table: toml::Table = toml::from_str(EMBEDDED).unwrap();
    let rows = |name: &str| table[name].as_array().unwrap().clone();
    let kind_of = |row: &toml::Value| row["kind"].clone().try_into::<Kind>().unwrap();
    let mut sourced: Vec<Kind> = rows("kind").iter().map(kind_of).collect();
    sourced.sort();
    assert_eq!(sourced, KINDS, "each kind once");
    for row in rows("kind") {
        assert!(row["source"].as_str().unwrap().contains("45 CFR 164.514(b)(2)(i)"), "{row}");
        assert!(["V2", "D"].contains(&row["mark"].as_str().unwrap()), "{row}");
    }
    for kind in KINDS {
        for language in ["en", "de", "fr", "es", "nl"] {
            let speaks = |row: &toml::Value| row["language"].as_str().unwrap().split(", ").any(|l| l == language);
            assert!(rows("header").iter().any(|row| kind_of(row) == kind && speaks(row)), "{kind:?} in {language}");
        }
    }
    for row in rows("header").iter().chain(&rows("cell")) {
        assert!(row["source"].as_str().unwrap().contains("no published source"), "{row}");
        for key in row.as_table().unwrap().keys() {
            assert!(
                ["kind", "role", "language", "words", "endings", "stems", "unless", "source"].contains(&key.as_str()),
                "{key} in {row}"
            );
        }
    }
}

#[test]
fn words_are_written_as_headers_are_compared() {
    let words = words().unwrap();
    let of_headers =
        words.headers.iter().flat_map(|row| row.words.iter().chain(&row.endings).chain(&row.stems).chain(&row.unless));
    for word in of_headers.chain(words.cells.values().flatten()) {
        assert!(!word.is_empty() && word.bytes().all(|b| b.is_ascii_lowercase()), "'{word}'");
    }
    let particles = &words.cells[&CellRole::Particle];
    assert!(particles.iter().all(|word| word.len() <= 3), "cells are skipped early by their length");
    // an ending must be long enough to be no accident: `hotel` ends with `tel`
    assert!(words.headers.iter().flat_map(|row| &row.endings).all(|ending| ending.len() >= 7));
}

#[test]
fn every_phrase_alone_or_written_as_one_word_raises_its_own_kind_or_a_narrower_one() {
    let table: toml::Table = toml::from_str(EMBEDDED).unwrap();
    for row in table["header"].as_array().unwrap() {
        for phrase in row["words"].as_array().unwrap().iter().map(|word| word.as_str().unwrap()) {
            let snake = phrase.replace(' ', "_");
            let camel: String = phrase.split(' ').map(|w| w[..1].to_uppercase() + &w[1..]).collect();
            for header in [phrase, &snake, &camel, &phrase.to_uppercase(), &format!("patient {phrase} 2")] {
                assert!(screen_header(header).is_some(), "{header}");
            }
        }
    }
}

#[test]
fn each_kind_is_found_in_five_languages() {
    let cases: [(Kind, &[&str]); 20] = [
        (
            Kind::Name,
            &[
                "patient_name",
                "PatName",
                "Name",
                "Vorname",
                "NACHNAME",
                "Last, First Name",
                "Prénom",
                "Nom",
                "Apellidos",
                "Nombre",
                "Achternaam",
                "naam",
                "Patientenvorname",
                "lastname",
                "initials",
                "Nom de naissance",
            ],
        ),
        (
            Kind::Address,
            &[
                "Address",
                "address2",
                "HomeAddress",
                "street",
                "City",
                "Anschrift",
                "Straße",
                "Wohnort",
                "PatientenAdresse",
                "Ville",
                "rue",
                "Dirección",
                "Calle",
                "Woonplaats",
                "adres",
                "Place of birth",
                "Geburtsort",
            ],
        ),
        (Kind::Postcode, &["ZIP", "zip_code", "Postcode", "PLZ", "Code postal", "Código postal", "postal-code"]),
        (
            Kind::BirthDate,
            &[
                "DOB",
                "D.O.B.",
                "patientDOB",
                "birth_date",
                "Date of Birth",
                "Birthday",
                "Geburtsdatum",
                "Geb.",
                "geb.dat.",
                "Date de naissance",
                "Fecha de nacimiento",
                "Geboortedatum",
                "date of death",
            ],
        ),
        (
            Kind::Phone,
            &[
                "phone",
                "Tel",
                "tel.",
                "Phone1",
                "mobile_phone",
                "Telefon",
                "Handynummer",
                "Téléphone",
                "Teléfono",
                "telefoonnummer",
                "contact phone no",
            ],
        ),
        (Kind::Fax, &["Fax", "fax_number", "Telefax", "Faxnummer", "Télécopie"]),
        (
            Kind::Email,
            &["email", "E-Mail", "eMail address", "E-Mail-Adresse", "Courriel", "Correo electrónico", "e-mailadres"],
        ),
        (
            Kind::SocialSecurity,
            &[
                "SSN",
                "social_security_no",
                "NHS number",
                "Sozialversicherungsnummer",
                "Numéro de sécurité sociale",
                "DNI",
                "BSN",
            ],
        ),
        (
            Kind::RecordNumber,
            &[
                "MRN",
                "record number",
                "RecordNo",
                "Medical record",
                "Aktennummer",
                "N° de dossier médical",
                "NHC",
                "dossiernummer",
            ],
        ),
        (
            Kind::HealthPlan,
            &[
                "Member ID",
                "policy_no",
                "subscriberId",
                "Versichertennummer",
                "Carte Vitale",
                "Tarjeta sanitaria",
                "polisnummer",
            ],
        ),
        (Kind::Account, &["account_no", "IBAN", "Kontonummer", "Compte bancaire", "Cuenta bancaria", "rekeningnummer"]),
        (
            Kind::Licence,
            &["driver's licence", "LicenseNumber", "Führerschein", "Permis de conduire", "Pasaporte", "rijbewijs"],
        ),
        (Kind::Vehicle, &["VIN", "license plate", "Kfz-Kennzeichen", "Immatriculation", "Matrícula", "kenteken"]),
        (
            Kind::Device,
            &["serial number", "device_id", "Seriennummer", "N° de série appareil numero de serie", "serienummer"],
        ),
        (Kind::Url, &["URL", "web_site", "Homepage", "Webseite", "Site web", "Sitio web", "webadres"]),
        (Kind::IpAddress, &["IP", "ip_address", "IPv4", "IP-Adresse", "Adresse IP", "Dirección IP"]),
        (
            Kind::Biometric,
            &["fingerprint", "biometric_id", "Fingerabdruck", "Empreinte digitale", "Huella dactilar", "vingerafdruk"],
        ),
        (Kind::Photo, &["Photo", "photo_file", "Lichtbild", "Photographie", "Fotografía", "pasfoto"]),
        (
            Kind::FreeText,
            &[
                "Notes",
                "note",
                "comments",
                "Remarks",
                "free_text",
                "Bemerkungen",
                "Freitext",
                "Verlaufsnotizen",
                "Remarques",
                "Observaciones",
                "opmerkingen",
            ],
        ),
        (Kind::Other, &["login", "user name", "barcode", "Personalnummer", "matricule", "usuario", "gebruikersnaam"]),
    ];
    for (kind, headers) in cases {
        for header in headers {
            assert_eq!(screen_header(header), Some(kind), "{header}");
        }
    }
}

#[test]
fn ordinary_headers_raise_no_alarm() {
    let headers = [
        "Patient",
        "patient key",
        "patient id",
        "PatientID",
        "pt",
        "Case",
        "person",
        "record",
        "id",
        "hotel",
        "Telemetry",
        "table_name",
        "TableName",
        "scale name",
        "site name",
        "measure name",
        "clinic",
        "name of score",
        "Exercise Name",
        "Name der Liege",
        "nom de la table",
        "nombre de séances",
        "nombre de la escala",
        "naam tafel",
        "nominal",
        "birth year",
        "birthweight",
        "Geburtsjahr",
        "année de naissance",
        "readings by telephone",
        "phone visit",
        "Day called",
        "Telefonbesuch",
        "address of clinic",
        "recorded",
        "number of cycles",
        "record date",
        "vehicle accident",
        "motor vehicle",
        "table serial number",
        "note douleur",
        "Note Schmerz",
        "number of observations",
        "IP/OP",
        "shipment",
        "zipper",
        "tip",
        "insurance",
        "insurance type",
        "claim",
        "compensation",
        "medicare",
        "photo therapy",
        "strasburg",
        "fallnummer",
        "case no",
        "Behandler",
        "clinician",
        "staff",
        "therapist",
        "Ortschmerz",
        "Schmerz Ort",
        "filename",
        "memory",
        "denoted",
        "faxed",
        "curl",
        "mobile",
        "gps",
        "npi",
        "rib",
        "udi",
        "accountable",
        "O1",
        "r24",
        "",
        "  ",
        "123",
        "%",
        "Größe cm",
        "Zugkraft kg",
        "年齢",
    ];
    for header in headers {
        assert_eq!(screen_header(header), None, "{header}");
    }
}

/// Headers of exports in six dialects, English and German, wide and long.
const EXPORTS: &str = "patient,date,visit,clinician,table,region,icd10,position,angle,mode,peak lbf,low lbf,hold s,rest s,ramp s,\
    cycles,minutes,weight lb,height in,return lbf,turns back,split in,restraint,belt on landmark,belt seated,slack cycle,level pull,\
    table level,adverse,attended,onset,age,sex,surgery before,claim,planned,ended,pain back,pain leg,pain neck,pain arm,odi percent,\
    ndi points,Patient,Datum,Nr,Behandler,Liege,Gebiet,Diagnose,Lagerung,Winkel,Zugart,Zugkraft kg,Grundzug kg,Haltezeit,Pause,Rampe,\
    Zyklen,Dauer min,Körpergewicht,Größe cm,Rückzug kg,Umdrehungen,Spaltöffnung mm,Oberkörper,Gurt auf Höhe,Gurt sitzt,Leerzyklus,\
    Zug waagrecht,Liege waagrecht,Störung,erschienen,Verlauf,Alter,Geschlecht,Voroperation,Geplant,Abschluss,Schmerz Rücken,\
    Schmerz Bein,ODI Summe,NDI Summe,Skala,Wert,Pt,Visit date,Therapist,Table,Area,Dx,Lying,Tilt,Pull type,Pull %BW,Low %BW,On,Off,\
    Ramp,Cycles,Time,Weight kg,Return lbf,Turns,Split mm,Upper body,Belt at crest,Belt seated,Slack out,Pull level,Table level,Event,\
    Seen,Onset days,Age,Sex,Planned,Back,Leg,Neck,Arm,O1,O10,N1,N10,Case,Day seen,Who,Couch,Part,Problem,Angle,Kind of pull,Pull,\
    Low pull,Hold,Rest,Repeats,Minutes,Body weight,Spring,Gap,Held by,Belt on mark,Belt snug,Slack run,Couch level,Upset,Came,\
    Days since onset,Scale,Score,Sheet label,Day called,service,person,episode,day,quarter,staff,part,codes,pull N,low N,mass kg,\
    return N,gap mm,upper,belt mark,slack,level,event,came,surgery,r1,r24,ndi,Key,Day,Staff,Complaint,Position,Pull unit,Session s,\
    Weight unit,Upper hold,Belt landmark,Adverse,Attended,Onset,Operated,Ended,Value,scale,score";

#[test]
fn the_columns_that_exports_are_read_from_raise_no_alarm() {
    for header in EXPORTS.split(',').map(str::trim) {
        assert_eq!(screen_header(header), None, "{header}");
    }
}

#[test]
fn the_headers_of_the_open_trials_raise_no_alarm() {
    let trials = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/whole/trials");
    let mut headers = 0;
    for trial in std::fs::read_dir(trials).unwrap().flatten().filter(|entry| entry.path().is_dir()) {
        for export in std::fs::read_dir(trial.path().join("exports")).unwrap().flatten() {
            let text = std::fs::read_to_string(export.path()).unwrap();
            for header in text.lines().next().unwrap().split(',') {
                assert_eq!(screen_header(header.trim_matches('"')), None, "{header}");
                headers += 1;
            }
        }
    }
    assert!(headers > 40);
}

#[test]
fn headers_are_split_at_case_changes_and_at_everything_that_is_no_letter() {
    let split = |header: &str| tokens(header).join("|");
    assert_eq!(split("patientDOB"), "patient|dob");
    assert_eq!(split("DOBPatient"), "dob|patient");
    assert_eq!(split("first_name2"), "first|name");
    assert_eq!(split("Straße/Ort"), "strasse|ort");
    assert_eq!(split("PRÉNOM de l'élève"), "prenom|de|l|eleve");
    assert_eq!(split("pre\u{301}nom"), split("pr\u{e9}nom"));
}
