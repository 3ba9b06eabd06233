# Print an optspec for argparse to handle cmd's options that are independent of any subcommand.
function __fish_obelus_global_optspecs
    string join \n h/help V/version
end

function __fish_obelus_needs_command
    # Figure out if the current invocation already has a command.
    set -l cmd (commandline -opc)
    set -e cmd[1]
    argparse -s (__fish_obelus_global_optspecs) -- $cmd 2>/dev/null
    or return
    if set -q argv[1]
        # Also print the command, so this can be used to figure out what it is.
        echo $argv[1]
        return 1
    end
    return 0
end

function __fish_obelus_using_subcommand
    set -l cmd (__fish_obelus_needs_command)
    test -z "$cmd"
    and return 1
    contains -- $cmd[1] $argv
end

complete -c obelus -n "__fish_obelus_needs_command" -s h -l help -d 'Print help'
complete -c obelus -n "__fish_obelus_needs_command" -s V -l version -d 'Print version'
complete -c obelus -n "__fish_obelus_needs_command" -f -a "audit" -d 'What the editor did, bar by bar'
complete -c obelus -n "__fish_obelus_needs_command" -f -a "clean" -d 'Write the edition without its editor\'s changes, and with your own marks if you like'
complete -c obelus -n "__fish_obelus_needs_command" -f -a "range" -d 'The notes that leave an instrument\'s range'
complete -c obelus -n "__fish_obelus_needs_command" -f -a "keys" -d 'Which key lies best on an instrument'
complete -c obelus -n "__fish_obelus_needs_command" -f -a "marks" -d 'Extract your own marks from a marked copy into a mark sheet'
complete -c obelus -n "__fish_obelus_needs_command" -f -a "exercises" -d 'A practice sheet: the hardest stretches of a part, with exercises'
complete -c obelus -n "__fish_obelus_needs_command" -f -a "print" -d 'Print a score, or one part of it, as pages (PDF)'
complete -c obelus -n "__fish_obelus_needs_command" -f -a "desk" -d 'Decide, mark and hand out on the staff, in your browser, on this machine'
complete -c obelus -n "__fish_obelus_needs_command" -f -a "rank" -d 'Which of several editions has least of an editor in it'
complete -c obelus -n "__fish_obelus_needs_command" -f -a "completions" -d 'Print what a shell needs to complete commands and options'
complete -c obelus -n "__fish_obelus_needs_command" -f -a "help" -d 'Print this message or the help of the given subcommand(s)'
complete -c obelus -n "__fish_obelus_using_subcommand audit" -l part -d 'Look only at this part: its id, name or number' -r
complete -c obelus -n "__fish_obelus_using_subcommand audit" -l staff -d 'Look only at this staff of the part, counted from the top' -r
complete -c obelus -n "__fish_obelus_using_subcommand audit" -l voice -d 'Look only at this voice of the part, by its number in the file' -r
complete -c obelus -n "__fish_obelus_using_subcommand audit" -l source-part -d 'Compare with this part of the source: its id, name or number' -r
complete -c obelus -n "__fish_obelus_using_subcommand audit" -l source-staff -d 'Compare with this staff of the source\'s part' -r
complete -c obelus -n "__fish_obelus_using_subcommand audit" -l source-voice -d 'Compare with this voice of the source\'s part, by its number in the file' -r
complete -c obelus -n "__fish_obelus_using_subcommand audit" -l instrument -d 'Check every compared part against this instrument\'s range [default: guessed from the part\'s name]' -r
complete -c obelus -n "__fish_obelus_using_subcommand audit" -l instruments -d 'A table of your own instruments (.toml), added to the standard one' -r -F
complete -c obelus -n "__fish_obelus_using_subcommand audit" -l tempo -d 'Quarter notes per minute, for the hardest stretches [default: the score\'s first metronome mark, else 72 beats]' -r
complete -c obelus -n "__fish_obelus_using_subcommand audit" -l bars -d 'Only these bars of the edition, by their printed numbers' -r
complete -c obelus -n "__fish_obelus_using_subcommand audit" -l format -d 'The form of the report' -r -f -a "text\t''
json\t''
csv\t''
html\t'A page for the browser, complete in one file'"
complete -c obelus -n "__fish_obelus_using_subcommand audit" -s o -l output -d 'Write to this file [default: standard output]' -r -F
complete -c obelus -n "__fish_obelus_using_subcommand audit" -l decisions -d 'Also write a decision for each finding to this file, for clean to follow (.toml)' -r -F
complete -c obelus -n "__fish_obelus_using_subcommand audit" -l side-by-side -d 'Also write source and edition to this file as one score, bar by bar in the edition\'s key, coloured where they differ (.musicxml)' -r -F
complete -c obelus -n "__fish_obelus_using_subcommand audit" -l written -d 'Read the notes as written for the instrument, whatever clef and transposition say'
complete -c obelus -n "__fish_obelus_using_subcommand audit" -l sounding -d 'Read the notes as sounding pitches, even if the instrument transposes'
complete -c obelus -n "__fish_obelus_using_subcommand audit" -l strict -d 'Exit with status 1 when anything was found'
complete -c obelus -n "__fish_obelus_using_subcommand audit" -s h -l help -d 'Print help (see more with \'--help\')'
complete -c obelus -n "__fish_obelus_using_subcommand clean" -s o -l output -d 'Write the clean copy to this file; .mxl compresses it' -r -F
complete -c obelus -n "__fish_obelus_using_subcommand clean" -l part -d 'Look only at this part: its id, name or number' -r
complete -c obelus -n "__fish_obelus_using_subcommand clean" -l staff -d 'Look only at this staff of the part, counted from the top' -r
complete -c obelus -n "__fish_obelus_using_subcommand clean" -l voice -d 'Look only at this voice of the part, by its number in the file' -r
complete -c obelus -n "__fish_obelus_using_subcommand clean" -l source-part -d 'Compare with this part of the source: its id, name or number' -r
complete -c obelus -n "__fish_obelus_using_subcommand clean" -l source-staff -d 'Compare with this staff of the source\'s part' -r
complete -c obelus -n "__fish_obelus_using_subcommand clean" -l source-voice -d 'Compare with this voice of the source\'s part, by its number in the file' -r
complete -c obelus -n "__fish_obelus_using_subcommand clean" -l keep -d 'Keep the editor\'s additions of these categories' -r
complete -c obelus -n "__fish_obelus_using_subcommand clean" -l additions -d 'What to do with the editor\'s other additions' -r -f -a "strip\t'Take them out'
bracket\t'Keep them, set apart as in critical editions: dashed, in brackets, small'
color\t'Write a proof copy: keep them, set apart and coloured; restored music is coloured too'"
complete -c obelus -n "__fish_obelus_using_subcommand clean" -l apart -d 'Set additions apart in ways of your own, by category (.toml)' -r -F
complete -c obelus -n "__fish_obelus_using_subcommand clean" -l no-restore -d 'Keep these as the edition has them' -r -f -a "octaves\t'Notes one or more octaves away'
passages\t'Inserted, rewritten and cut passages, invented endings'
readings\t'Other notes, rhythms, ties and altered marks'
omissions\t'Marks of the source that the edition lacks'"
complete -c obelus -n "__fish_obelus_using_subcommand clean" -l transpose -d 'Transpose the copy from the edition: "up a minor third"' -r
complete -c obelus -n "__fish_obelus_using_subcommand clean" -l key -d 'Write the copy in this sounding key: "D minor"; moved the nearest way, with --fit the way that fits better' -r
complete -c obelus -n "__fish_obelus_using_subcommand clean" -l instrument -d 'Check the clean part against this instrument\'s range [default: that of --for]' -r
complete -c obelus -n "__fish_obelus_using_subcommand clean" -l instruments -d 'A table of your own instruments (.toml), added to the standard one' -r -F
complete -c obelus -n "__fish_obelus_using_subcommand clean" -l for -d 'Write the part for this instrument: clef, transposition, key, name' -r
complete -c obelus -n "__fish_obelus_using_subcommand clean" -l decisions -d 'Follow the decisions in this file, written by audit --decisions' -r -F
complete -c obelus -n "__fish_obelus_using_subcommand clean" -l notes -d 'Also write critical notes to this file (.md or .csv)' -r -F
complete -c obelus -n "__fish_obelus_using_subcommand clean" -l pdf -d 'Also print the copy to this file (.pdf); with --part, that part alone' -r -F
complete -c obelus -n "__fish_obelus_using_subcommand clean" -l title -d 'The title of the printed pages; "" leaves it out [default: the movement\'s, else the work\'s]' -r
complete -c obelus -n "__fish_obelus_using_subcommand clean" -l subtitle -d 'The line below the title; "" leaves it out [default: the work, where the title is the movement\'s]' -r
complete -c obelus -n "__fish_obelus_using_subcommand clean" -l composer -d 'The composer on the printed pages; "" leaves them out [default: as the score says]' -r
complete -c obelus -n "__fish_obelus_using_subcommand clean" -l paper -d 'The paper for --pdf' -r -f -a "a4\t''
letter\t''"
complete -c obelus -n "__fish_obelus_using_subcommand clean" -l staff-size -d 'The height of a staff, in millimetres [default: 6.8 for a part, more where pages have room]' -r
complete -c obelus -n "__fish_obelus_using_subcommand clean" -l format -d 'The form of the summary' -r -f -a "text\t''
json\t''"
complete -c obelus -n "__fish_obelus_using_subcommand clean" -l mine -d 'Your own marks, written in last: a mark sheet (.toml) or a marked copy (MusicXML)' -r -F
complete -c obelus -n "__fish_obelus_using_subcommand clean" -l alone -d 'Write only the line that --part, --staff and --voice name, as a separate part'
complete -c obelus -n "__fish_obelus_using_subcommand clean" -l written -d 'Read the notes as written for the instrument, whatever clef and transposition say'
complete -c obelus -n "__fish_obelus_using_subcommand clean" -l sounding -d 'Read the notes as sounding pitches, even if the instrument transposes'
complete -c obelus -n "__fish_obelus_using_subcommand clean" -l fit -d 'Move phrases to another octave where they leave the instrument\'s range'
complete -c obelus -n "__fish_obelus_using_subcommand clean" -l strict -d 'Write nothing (status 4) if a bar would have to stay as the edition has it'
complete -c obelus -n "__fish_obelus_using_subcommand clean" -s h -l help -d 'Print help (see more with \'--help\')'
complete -c obelus -n "__fish_obelus_using_subcommand range" -l part -d 'Look only at this part: its id, name or number' -r
complete -c obelus -n "__fish_obelus_using_subcommand range" -l staff -d 'Look only at this staff of the part, counted from the top' -r
complete -c obelus -n "__fish_obelus_using_subcommand range" -l voice -d 'Look only at this voice of the part, by its number in the file' -r
complete -c obelus -n "__fish_obelus_using_subcommand range" -l instrument -d 'Check the parts against this instrument [default: guessed from the part\'s name]' -r
complete -c obelus -n "__fish_obelus_using_subcommand range" -l instruments -d 'A table of your own instruments (.toml), added to the standard one' -r -F
complete -c obelus -n "__fish_obelus_using_subcommand range" -l tempo -d 'Quarter notes per minute, for the hardest stretches [default: the score\'s first metronome mark, else 72 beats]' -r
complete -c obelus -n "__fish_obelus_using_subcommand range" -l format -d 'The form of the report' -r -f -a "text\t''
json\t''
csv\t''"
complete -c obelus -n "__fish_obelus_using_subcommand range" -l stretches -d 'Also write the hardest stretches to this table (.csv)' -r -F
complete -c obelus -n "__fish_obelus_using_subcommand range" -s o -l output -d 'Write to this file [default: standard output]' -r -F
complete -c obelus -n "__fish_obelus_using_subcommand range" -l written -d 'Read the notes as written for the instrument, whatever clef and transposition say'
complete -c obelus -n "__fish_obelus_using_subcommand range" -l sounding -d 'Read the notes as sounding pitches, even if the instrument transposes'
complete -c obelus -n "__fish_obelus_using_subcommand range" -l list -d 'Print the table of instruments'
complete -c obelus -n "__fish_obelus_using_subcommand range" -s h -l help -d 'Print help'
complete -c obelus -n "__fish_obelus_using_subcommand keys" -l part -d 'Look only at this part: its id, name or number' -r
complete -c obelus -n "__fish_obelus_using_subcommand keys" -l staff -d 'Look only at this staff of the part, counted from the top' -r
complete -c obelus -n "__fish_obelus_using_subcommand keys" -l voice -d 'Look only at this voice of the part, by its number in the file' -r
complete -c obelus -n "__fish_obelus_using_subcommand keys" -l instrument -d 'Try this instrument; name it again to compare instruments [default: guessed from the part\'s name]' -r
complete -c obelus -n "__fish_obelus_using_subcommand keys" -l instruments -d 'A table of your own instruments (.toml), added to the standard one' -r -F
complete -c obelus -n "__fish_obelus_using_subcommand keys" -l tempo -d 'Quarter notes per minute [default: the score\'s first metronome mark, else 72 beats]' -r
complete -c obelus -n "__fish_obelus_using_subcommand keys" -l format -d 'The form of the report' -r -f -a "text\t''
json\t''
csv\t''"
complete -c obelus -n "__fish_obelus_using_subcommand keys" -s o -l output -d 'Write to this file [default: standard output]' -r -F
complete -c obelus -n "__fish_obelus_using_subcommand keys" -l written -d 'Read the notes as written for the instrument, whatever clef and transposition say'
complete -c obelus -n "__fish_obelus_using_subcommand keys" -l sounding -d 'Read the notes as sounding pitches, even if the instrument transposes'
complete -c obelus -n "__fish_obelus_using_subcommand keys" -s h -l help -d 'Print help'
complete -c obelus -n "__fish_obelus_using_subcommand marks" -s o -l output -d 'Write the mark sheet to this file [default: standard output]' -r -F
complete -c obelus -n "__fish_obelus_using_subcommand marks" -s h -l help -d 'Print help'
complete -c obelus -n "__fish_obelus_using_subcommand exercises" -s o -l output -d 'Write the sheet to this file (.musicxml)' -r -F
complete -c obelus -n "__fish_obelus_using_subcommand exercises" -l part -d 'Look only at this part: its id, name or number' -r
complete -c obelus -n "__fish_obelus_using_subcommand exercises" -l staff -d 'Look only at this staff of the part, counted from the top' -r
complete -c obelus -n "__fish_obelus_using_subcommand exercises" -l voice -d 'Look only at this voice of the part, by its number in the file' -r
complete -c obelus -n "__fish_obelus_using_subcommand exercises" -l instrument -d 'Write it for this instrument [default: guessed from the part\'s name]' -r
complete -c obelus -n "__fish_obelus_using_subcommand exercises" -l instruments -d 'A table of your own instruments (.toml), added to the standard one' -r -F
complete -c obelus -n "__fish_obelus_using_subcommand exercises" -l bars -d 'Practise these bars instead of the hardest stretches' -r
complete -c obelus -n "__fish_obelus_using_subcommand exercises" -l most -d 'So many stretches at most' -r
complete -c obelus -n "__fish_obelus_using_subcommand exercises" -l tempo -d 'Quarter notes per minute of the piece [default: the score\'s first metronome mark, else 72]' -r
complete -c obelus -n "__fish_obelus_using_subcommand exercises" -l form -d 'Only these exercises, in this order: change, beats, adding, backwards, rhythms, wider, whole' -r
complete -c obelus -n "__fish_obelus_using_subcommand exercises" -l rhythms -d 'Rhythms of your own for the changed rhythms (.toml)' -r -F
complete -c obelus -n "__fish_obelus_using_subcommand exercises" -l pdf -d 'Also print the sheet to this file (.pdf)' -r -F
complete -c obelus -n "__fish_obelus_using_subcommand exercises" -l title -d 'The title of the printed pages; "" leaves it out [default: the movement\'s, else the work\'s]' -r
complete -c obelus -n "__fish_obelus_using_subcommand exercises" -l subtitle -d 'The line below the title; "" leaves it out [default: the work, where the title is the movement\'s]' -r
complete -c obelus -n "__fish_obelus_using_subcommand exercises" -l composer -d 'The composer on the printed pages; "" leaves them out [default: as the score says]' -r
complete -c obelus -n "__fish_obelus_using_subcommand exercises" -l paper -d 'The paper for --pdf' -r -f -a "a4\t''
letter\t''"
complete -c obelus -n "__fish_obelus_using_subcommand exercises" -l staff-size -d 'The height of a staff, in millimetres [default: 6.8 for a part, more where pages have room]' -r
complete -c obelus -n "__fish_obelus_using_subcommand exercises" -l format -d 'The form of the summary' -r -f -a "text\t''
json\t''"
complete -c obelus -n "__fish_obelus_using_subcommand exercises" -l written -d 'Read the notes as written for the instrument, whatever clef and transposition say'
complete -c obelus -n "__fish_obelus_using_subcommand exercises" -l sounding -d 'Read the notes as sounding pitches, even if the instrument transposes'
complete -c obelus -n "__fish_obelus_using_subcommand exercises" -s h -l help -d 'Print help'
complete -c obelus -n "__fish_obelus_using_subcommand print" -l pdf -d 'Write the pages to this file (.pdf)' -r -F
complete -c obelus -n "__fish_obelus_using_subcommand print" -l part -d 'Print only this part: its id, name or number' -r
complete -c obelus -n "__fish_obelus_using_subcommand print" -l staff -d 'Print only this staff of the part, counted from the top' -r
complete -c obelus -n "__fish_obelus_using_subcommand print" -l voice -d 'Print only this voice of the part, by its number in the file' -r
complete -c obelus -n "__fish_obelus_using_subcommand print" -l title -d 'The title of the printed pages; "" leaves it out [default: the movement\'s, else the work\'s]' -r
complete -c obelus -n "__fish_obelus_using_subcommand print" -l subtitle -d 'The line below the title; "" leaves it out [default: the work, where the title is the movement\'s]' -r
complete -c obelus -n "__fish_obelus_using_subcommand print" -l composer -d 'The composer on the printed pages; "" leaves them out [default: as the score says]' -r
complete -c obelus -n "__fish_obelus_using_subcommand print" -l paper -d 'The paper for --pdf' -r -f -a "a4\t''
letter\t''"
complete -c obelus -n "__fish_obelus_using_subcommand print" -l staff-size -d 'The height of a staff, in millimetres [default: 6.8 for a part, more where pages have room]' -r
complete -c obelus -n "__fish_obelus_using_subcommand print" -s h -l help -d 'Print help'
complete -c obelus -n "__fish_obelus_using_subcommand desk" -l instrument -d 'The instrument that the part is for' -r
complete -c obelus -n "__fish_obelus_using_subcommand desk" -l folder -d 'Keep decisions, marks and what is handed out in this folder [default: the edition\'s name with -desk]' -r -F
complete -c obelus -n "__fish_obelus_using_subcommand desk" -l port -d 'Listen on this port [default: a free one]' -r
complete -c obelus -n "__fish_obelus_using_subcommand desk" -l no-open -d 'Print the address, and open no browser'
complete -c obelus -n "__fish_obelus_using_subcommand desk" -l stay -d 'Go on after the last tab was closed'
complete -c obelus -n "__fish_obelus_using_subcommand desk" -s h -l help -d 'Print help'
complete -c obelus -n "__fish_obelus_using_subcommand rank" -l sources -d 'Lay each edition beside the score of this folder whose music it is, in whatever key' -r -F
complete -c obelus -n "__fish_obelus_using_subcommand rank" -l part -d 'Compare only this part of the editions: its id, name or number' -r
complete -c obelus -n "__fish_obelus_using_subcommand rank" -l source-part -d 'Compare with this part of the source: its id, name or number' -r
complete -c obelus -n "__fish_obelus_using_subcommand rank" -l instrument -d 'Count the notes that leave this instrument\'s range' -r
complete -c obelus -n "__fish_obelus_using_subcommand rank" -l instruments -d 'A table of your own instruments (.toml), added to the standard one' -r -F
complete -c obelus -n "__fish_obelus_using_subcommand rank" -l audits -d 'Also write each audit to this folder, as a page; a ranking as a page links to them' -r -F
complete -c obelus -n "__fish_obelus_using_subcommand rank" -l format -d 'The form of the ranking' -r -f -a "text\t''
json\t''
csv\t''
html\t'A page for the browser, complete in one file'"
complete -c obelus -n "__fish_obelus_using_subcommand rank" -l shard -d 'Look only at every N-th edition, from the I-th on, for work that several machines share' -r
complete -c obelus -n "__fish_obelus_using_subcommand rank" -s o -l output -d 'Write to this file [default: standard output]' -r -F
complete -c obelus -n "__fish_obelus_using_subcommand rank" -l any-key -d 'Do not put editions in another key last'
complete -c obelus -n "__fish_obelus_using_subcommand rank" -l written -d 'Read the notes as written for the instrument, whatever clef and transposition say'
complete -c obelus -n "__fish_obelus_using_subcommand rank" -l sounding -d 'Read the notes as sounding pitches, even if the instrument transposes'
complete -c obelus -n "__fish_obelus_using_subcommand rank" -l lines -d 'Instead of a ranking, write each edition as soon as it is compared: one line of JSON, in the order of the files'
complete -c obelus -n "__fish_obelus_using_subcommand rank" -s h -l help -d 'Print help (see more with \'--help\')'
complete -c obelus -n "__fish_obelus_using_subcommand completions" -s h -l help -d 'Print help'
complete -c obelus -n "__fish_obelus_using_subcommand help; and not __fish_seen_subcommand_from audit clean range keys marks exercises print desk rank completions help" -f -a "audit" -d 'What the editor did, bar by bar'
complete -c obelus -n "__fish_obelus_using_subcommand help; and not __fish_seen_subcommand_from audit clean range keys marks exercises print desk rank completions help" -f -a "clean" -d 'Write the edition without its editor\'s changes, and with your own marks if you like'
complete -c obelus -n "__fish_obelus_using_subcommand help; and not __fish_seen_subcommand_from audit clean range keys marks exercises print desk rank completions help" -f -a "range" -d 'The notes that leave an instrument\'s range'
complete -c obelus -n "__fish_obelus_using_subcommand help; and not __fish_seen_subcommand_from audit clean range keys marks exercises print desk rank completions help" -f -a "keys" -d 'Which key lies best on an instrument'
complete -c obelus -n "__fish_obelus_using_subcommand help; and not __fish_seen_subcommand_from audit clean range keys marks exercises print desk rank completions help" -f -a "marks" -d 'Extract your own marks from a marked copy into a mark sheet'
complete -c obelus -n "__fish_obelus_using_subcommand help; and not __fish_seen_subcommand_from audit clean range keys marks exercises print desk rank completions help" -f -a "exercises" -d 'A practice sheet: the hardest stretches of a part, with exercises'
complete -c obelus -n "__fish_obelus_using_subcommand help; and not __fish_seen_subcommand_from audit clean range keys marks exercises print desk rank completions help" -f -a "print" -d 'Print a score, or one part of it, as pages (PDF)'
complete -c obelus -n "__fish_obelus_using_subcommand help; and not __fish_seen_subcommand_from audit clean range keys marks exercises print desk rank completions help" -f -a "desk" -d 'Decide, mark and hand out on the staff, in your browser, on this machine'
complete -c obelus -n "__fish_obelus_using_subcommand help; and not __fish_seen_subcommand_from audit clean range keys marks exercises print desk rank completions help" -f -a "rank" -d 'Which of several editions has least of an editor in it'
complete -c obelus -n "__fish_obelus_using_subcommand help; and not __fish_seen_subcommand_from audit clean range keys marks exercises print desk rank completions help" -f -a "completions" -d 'Print what a shell needs to complete commands and options'
complete -c obelus -n "__fish_obelus_using_subcommand help; and not __fish_seen_subcommand_from audit clean range keys marks exercises print desk rank completions help" -f -a "help" -d 'Print this message or the help of the given subcommand(s)'
