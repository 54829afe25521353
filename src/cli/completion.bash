# SPDX-License-Identifier: GPL-3.0-or-later
# Completion for toneload in bash. Commands, options and kinds of part are asked of the program
# itself, so that they are those of the version that is installed.

# Prints the first word of each line "  WORD ..." of the program's help, if WORD begins with START.
_toneload_words() { # START ARGUMENT..
    "$program" "${@:2}" 2>/dev/null | sed -n "s/^  \($1[a-z-]*\) .*/\1/p"
}

# Prints the kinds of part: the first brackets of the help of `parts`.
_toneload_kinds() {
    "$program" parts --help 2>/dev/null | sed -n '/(/{s/.*(\(.*\)).*/\1/;s/,//g;p;q}'
}

# Offers folders, and files whose names fit a pattern.
_toneload_files() { # PATTERN
    local file
    compopt -o filenames 2>/dev/null
    while IFS= read -r file; do
        [[ -d $file || $file == @($1) ]] && COMPREPLY+=("$file")
    done < <(compgen -f -- "$word")
}

# Offers what may follow an option; fails when nothing does.
_toneload_value() { # OPTION
    case $1 in
    --plot | --curves | --histograms | --sensitivity) _toneload_files '*.svg|*.png|*.pdf' ;;
    --drawing) _toneload_files '*.svg' ;;
    --output) _toneload_files '*' ;;
    --dump) _toneload_files '*.csv' ;;
    --part) _toneload_files '*.yaml' ;;
    --parts) _toneload_files '' ;;
    --out) _toneload_files '*.html' ;;
    --pdf) _toneload_files '*.pdf' ;;
    --input) _toneload_files '*.wav|*.WAV' ;;
    --recorded-through | --rig | --limits | --prices) _toneload_files '*.yaml|*.yml' ;;
    --offset) mapfile -t COMPREPLY < <(compgen -W "keep remove by-file" -- "$word") ;;
    --with-controls | --cable | --load | --hold | --name | --vary | --limit | --fix | --max-gain | --metric | --level | --buffer | --count | --trials | --seed | --select | --shard | --state | --end | --points | --reference-hz | --jobs | --time-limit | --scale) ;;
    --paper) mapfile -t COMPREPLY < <(compgen -W 'A4 A3 Letter Tabloid' -- "$word") ;;
    *) return 1 ;;
    esac
    return 0
}

_toneload() {
    local program=${COMP_WORDS[0]/#\~/$HOME} word=${COMP_WORDS[COMP_CWORD]}
    local command=${COMP_WORDS[1]} option=${COMP_WORDS[COMP_CWORD - 1]} choices
    COMPREPLY=()
    # --option=value comes as three words
    [[ $word == = ]] && word=
    [[ $option == = ]] && option=${COMP_WORDS[COMP_CWORD - 2]}
    if ((COMP_CWORD == 1)); then
        choices="$(_toneload_words '' --help) --help --version"
    elif _toneload_value "$option"; then
        return
    elif [[ $word == -* ]]; then
        choices=$(_toneload_words -- "$command" --help)
    elif [[ $command == parts ]]; then
        choices=$(_toneload_kinds)
    elif [[ $command == merge ]]; then
        _toneload_files '*.part'
        return
    elif [[ $command == accept ]]; then
        if [[ " ${COMP_WORDS[*]:2:COMP_CWORD-2} " == *.y?(a)ml\ * ]]; then
            _toneload_files '*.csv|*.CSV'
        else
            _toneload_files '*.yaml|*.yml'
        fi
        return
    elif [[ $command == fit ]]; then
        _toneload_files '*.csv|*.CSV|*.[sSzZyY]1[pP]'
        return
    else
        _toneload_files '*.yaml|*.yml'
        return
    fi
    mapfile -t COMPREPLY < <(compgen -W "$choices" -- "$word")
}

complete -F _toneload toneload
