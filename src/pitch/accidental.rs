//! Accidentals by their names in MusicXML.

/// The name of an alteration in hundredths of a semitone.
pub fn accidental_name(alter: i32) -> Option<&'static str> {
    Some(match alter {
        0 => "natural",
        100 => "sharp",
        -100 => "flat",
        200 => "double-sharp",
        -200 => "flat-flat",
        50 => "quarter-sharp",
        -50 => "quarter-flat",
        150 => "three-quarters-sharp",
        -150 => "three-quarters-flat",
        _ => return None,
    })
}

/// What an accidental of a name alters a note by, in hundredths of a semitone.
pub fn alteration_of(name: &str) -> Option<i32> {
    match name {
        "sharp-sharp" => Some(200),
        "double-flat" => Some(-200),
        _ => [0, 100, -100, 200, -200, 50, -50, 150, -150]
            .into_iter()
            .find(|alter| accidental_name(*alter) == Some(name)),
    }
}

/// As it stands beside a figure: `#`, `b`, `nat.`, or its name.
pub fn short_accidental(name: &str) -> &str {
    match name {
        "sharp" => "#",
        "flat" => "b",
        "natural" => "nat.",
        "double-sharp" | "sharp-sharp" => "##",
        "flat-flat" | "double-flat" => "bb",
        "plus" => "+",
        other => other,
    }
}
