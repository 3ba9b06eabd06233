//! What the engraver wants said otherwise than the schema would let anyone say it.

use super::super::fragment::Fragment;

/// Before and after a colour that stands in a text: of some elements the
/// engraver carries over what they say, but not in which colour.
pub const TEXT_COLOR: [char; 2] = ['\u{F0000}', '\u{F0001}'];

/// What would join several bars into one, or hide their notes.
const LEFT_OUT: [&str; 2] = ["measure-style", "part-symbol"];

/// Makes a bar ready.
pub(super) fn prepare(fragment: &mut Fragment) {
    fragment.children.retain(|c| !LEFT_OUT.contains(&c.name.as_str()));
    fragment.children.iter_mut().for_each(prepare);
    if fragment.name == "direction" && fragment.child("staff").is_none() {
        // Without it an octave line is drawn, but moves no note.
        fragment.place(Fragment::leaf("staff", 1));
    }
    let color = fragment.attributes.iter().find(|a| a.0 == "color").map(|a| a.1.clone());
    let Some(color) = color else { return };
    let texts: &[&str] = match fragment.name.as_str() {
        "fingering" => &[],
        "metronome" => &["per-minute"],
        "harmony" => &["root", "root-step"],
        "figured-bass" => &["figure", "figure-number"],
        _ => return,
    };
    let mut holder = fragment;
    for name in texts {
        let Some(next) = holder.children.iter_mut().find(|c| c.name == *name) else { return };
        holder = next;
    }
    let [open, close] = TEXT_COLOR;
    holder.text = format!("{open}{color}{close}{}", holder.text.trim());
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn colours_that_would_be_lost_stand_in_the_text() {
        let mut fingering = Fragment::leaf("fingering", "0 12").set("color", "#00002A");
        prepare(&mut fingering);
        assert_eq!(fingering.text, "\u{F0000}#00002A\u{F0001}0 12");
        let minute = Fragment::leaf("per-minute", "66");
        let mut mark = Fragment::new("metronome").with(Fragment::leaf("beat-unit", "half")).with(minute);
        mark.set_attribute("color", "#000001");
        prepare(&mut mark);
        assert_eq!(mark.children[1].text, "\u{F0000}#000001\u{F0001}66");
        let mut plain = Fragment::leaf("fingering", "2");
        prepare(&mut plain);
        assert_eq!(plain.text, "2");
    }

    #[test]
    fn directions_have_a_staff() {
        let mut direction = Fragment::new("direction").with(Fragment::new("direction-type"));
        prepare(&mut direction);
        assert_eq!(direction.child("staff").map(|s| s.text.as_str()), Some("1"));
    }
}
