_obelus() {
    local i cur prev opts cmd
    COMPREPLY=()
    if [[ "${BASH_VERSINFO[0]}" -ge 4 ]]; then
        cur="$2"
    else
        cur="${COMP_WORDS[COMP_CWORD]}"
    fi
    prev="$3"
    cmd=""
    opts=""

    for i in "${COMP_WORDS[@]:0:COMP_CWORD}"
    do
        case "${cmd},${i}" in
            ",$1")
                cmd="obelus"
                ;;
            obelus,audit)
                cmd="obelus__subcmd__audit"
                ;;
            obelus,clean)
                cmd="obelus__subcmd__clean"
                ;;
            obelus,completions)
                cmd="obelus__subcmd__completions"
                ;;
            obelus,desk)
                cmd="obelus__subcmd__desk"
                ;;
            obelus,exercises)
                cmd="obelus__subcmd__exercises"
                ;;
            obelus,help)
                cmd="obelus__subcmd__help"
                ;;
            obelus,keys)
                cmd="obelus__subcmd__keys"
                ;;
            obelus,marks)
                cmd="obelus__subcmd__marks"
                ;;
            obelus,print)
                cmd="obelus__subcmd__print"
                ;;
            obelus,range)
                cmd="obelus__subcmd__range"
                ;;
            obelus,rank)
                cmd="obelus__subcmd__rank"
                ;;
            obelus__subcmd__help,audit)
                cmd="obelus__subcmd__help__subcmd__audit"
                ;;
            obelus__subcmd__help,clean)
                cmd="obelus__subcmd__help__subcmd__clean"
                ;;
            obelus__subcmd__help,completions)
                cmd="obelus__subcmd__help__subcmd__completions"
                ;;
            obelus__subcmd__help,desk)
                cmd="obelus__subcmd__help__subcmd__desk"
                ;;
            obelus__subcmd__help,exercises)
                cmd="obelus__subcmd__help__subcmd__exercises"
                ;;
            obelus__subcmd__help,help)
                cmd="obelus__subcmd__help__subcmd__help"
                ;;
            obelus__subcmd__help,keys)
                cmd="obelus__subcmd__help__subcmd__keys"
                ;;
            obelus__subcmd__help,marks)
                cmd="obelus__subcmd__help__subcmd__marks"
                ;;
            obelus__subcmd__help,print)
                cmd="obelus__subcmd__help__subcmd__print"
                ;;
            obelus__subcmd__help,range)
                cmd="obelus__subcmd__help__subcmd__range"
                ;;
            obelus__subcmd__help,rank)
                cmd="obelus__subcmd__help__subcmd__rank"
                ;;
            *)
                ;;
        esac
    done

    case "${cmd}" in
        obelus)
            opts="-h -V --help --version audit clean range keys marks exercises print desk rank completions help"
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 1 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        obelus__subcmd__audit)
            opts="-o -h --part --staff --voice --source-part --source-staff --source-voice --instrument --instruments --written --sounding --tempo --bars --format --output --decisions --side-by-side --strict --help"
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 2 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                --part)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --staff)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --voice)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --source-part)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --source-staff)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --source-voice)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --instrument)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --instruments)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --tempo)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --bars)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --format)
                    COMPREPLY=($(compgen -W "text json csv html" -- "${cur}"))
                    return 0
                    ;;
                --output)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                -o)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --decisions)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --side-by-side)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        obelus__subcmd__clean)
            opts="-o -h --output --part --staff --voice --source-part --source-staff --source-voice --alone --keep --additions --apart --no-restore --transpose --key --instrument --instruments --written --sounding --fit --for --decisions --notes --pdf --title --subtitle --composer --paper --staff-size --strict --format --mine --help"
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 2 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                --output)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                -o)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --part)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --staff)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --voice)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --source-part)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --source-staff)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --source-voice)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --keep)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --additions)
                    COMPREPLY=($(compgen -W "strip bracket color" -- "${cur}"))
                    return 0
                    ;;
                --apart)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --no-restore)
                    COMPREPLY=($(compgen -W "octaves passages readings omissions" -- "${cur}"))
                    return 0
                    ;;
                --transpose)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --key)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --instrument)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --instruments)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --for)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --decisions)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --notes)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --pdf)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --title)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --subtitle)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --composer)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --paper)
                    COMPREPLY=($(compgen -W "a4 letter" -- "${cur}"))
                    return 0
                    ;;
                --staff-size)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --format)
                    COMPREPLY=($(compgen -W "text json" -- "${cur}"))
                    return 0
                    ;;
                --mine)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        obelus__subcmd__completions)
            opts="-h --help bash elvish fish powershell zsh"
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 2 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        obelus__subcmd__desk)
            opts="-h --instrument --folder --port --no-open --stay --help"
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 2 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                --instrument)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --folder)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --port)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        obelus__subcmd__exercises)
            opts="-o -h --output --part --staff --voice --instrument --instruments --written --sounding --bars --most --tempo --form --rhythms --pdf --title --subtitle --composer --paper --staff-size --format --help"
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 2 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                --output)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                -o)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --part)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --staff)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --voice)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --instrument)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --instruments)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --bars)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --most)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --tempo)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --form)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --rhythms)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --pdf)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --title)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --subtitle)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --composer)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --paper)
                    COMPREPLY=($(compgen -W "a4 letter" -- "${cur}"))
                    return 0
                    ;;
                --staff-size)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --format)
                    COMPREPLY=($(compgen -W "text json" -- "${cur}"))
                    return 0
                    ;;
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        obelus__subcmd__help)
            opts="audit clean range keys marks exercises print desk rank completions help"
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 2 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        obelus__subcmd__help__subcmd__audit)
            opts=""
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 3 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        obelus__subcmd__help__subcmd__clean)
            opts=""
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 3 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        obelus__subcmd__help__subcmd__completions)
            opts=""
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 3 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        obelus__subcmd__help__subcmd__desk)
            opts=""
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 3 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        obelus__subcmd__help__subcmd__exercises)
            opts=""
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 3 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        obelus__subcmd__help__subcmd__help)
            opts=""
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 3 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        obelus__subcmd__help__subcmd__keys)
            opts=""
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 3 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        obelus__subcmd__help__subcmd__marks)
            opts=""
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 3 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        obelus__subcmd__help__subcmd__print)
            opts=""
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 3 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        obelus__subcmd__help__subcmd__range)
            opts=""
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 3 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        obelus__subcmd__help__subcmd__rank)
            opts=""
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 3 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        obelus__subcmd__keys)
            opts="-o -h --part --staff --voice --instrument --instruments --written --sounding --tempo --format --output --help"
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 2 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                --part)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --staff)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --voice)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --instrument)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --instruments)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --tempo)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --format)
                    COMPREPLY=($(compgen -W "text json csv" -- "${cur}"))
                    return 0
                    ;;
                --output)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                -o)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        obelus__subcmd__marks)
            opts="-o -h --output --help"
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 2 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                --output)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                -o)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        obelus__subcmd__print)
            opts="-h --pdf --part --staff --voice --title --subtitle --composer --paper --staff-size --help"
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 2 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                --pdf)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --part)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --staff)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --voice)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --title)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --subtitle)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --composer)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --paper)
                    COMPREPLY=($(compgen -W "a4 letter" -- "${cur}"))
                    return 0
                    ;;
                --staff-size)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        obelus__subcmd__range)
            opts="-o -h --part --staff --voice --instrument --instruments --written --sounding --tempo --list --format --stretches --output --help"
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 2 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                --part)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --staff)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --voice)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --instrument)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --instruments)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --tempo)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --format)
                    COMPREPLY=($(compgen -W "text json csv" -- "${cur}"))
                    return 0
                    ;;
                --stretches)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --output)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                -o)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
        obelus__subcmd__rank)
            opts="-o -h --sources --part --source-part --any-key --instrument --instruments --written --sounding --audits --format --lines --shard --output --help"
            if [[ ${cur} == -* || ${COMP_CWORD} -eq 2 ]] ; then
                COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
                return 0
            fi
            case "${prev}" in
                --sources)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --part)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --source-part)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --instrument)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --instruments)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --audits)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --format)
                    COMPREPLY=($(compgen -W "text json csv html" -- "${cur}"))
                    return 0
                    ;;
                --shard)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                --output)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                -o)
                    COMPREPLY=($(compgen -f "${cur}"))
                    return 0
                    ;;
                *)
                    COMPREPLY=()
                    ;;
            esac
            COMPREPLY=( $(compgen -W "${opts}" -- "${cur}") )
            return 0
            ;;
    esac
}

if [[ "${BASH_VERSINFO[0]}" -eq 4 && "${BASH_VERSINFO[1]}" -ge 4 || "${BASH_VERSINFO[0]}" -gt 4 ]]; then
    complete -F _obelus -o nosort -o bashdefault -o default obelus
else
    complete -F _obelus -o bashdefault -o default obelus
fi
