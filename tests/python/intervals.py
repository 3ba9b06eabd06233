"""music21's intervals and pitches, moved without being spelled otherwise."""

from music21 import interval, pitch

NATURALS = (0, 2, 4, 5, 7, 9, 11)


def between(steps, semitones):
    """music21's interval of so many letters and semitones."""
    start, end = pitch.Pitch("C4"), pitch.Pitch()
    end.step, end.octave = "CDEFGAB"[steps % 7], 4 + steps // 7
    alter = semitones - (NATURALS[steps % 7] + 12 * (steps // 7))
    end.accidental = pitch.Accidental(alter) if alter else None
    return interval.Interval(start, end)


def moved(one, by):
    """A pitch by an interval; by None, itself."""
    return by.transposePitch(one, maxAccidental=None) if by is not None else one
