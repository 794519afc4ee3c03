#!/bin/bash
# The project's commands in one place. `./do demo` and `./do test` set up a bare Debian 12 by themselves (as root, or
# with sudo) and can be run twice; the second time they need no network. `./do help` lists the rest.
set -euo pipefail
cd "$(dirname "${BASH_SOURCE[0]}")"
export LC_ALL=C.UTF-8
LOGS=$PWD/build/log
FUZZ_SECONDS=${FETTLE_FUZZ_SECONDS:-20}

usage() {
    cat <<'TEXT'
./do demo                 build the program and run the whole job on a virtual set of boxes
./do test [--slow]        build the tests and run them; --slow adds sanitizers, fuzzing, clang, seeded faults, sweeps
./do build [PRESET]       build a preset: dev (default), clang, release, asan, fuzz
./do lint [FILE…]         formatting and clang-tidy on the files changed since the last commit, on those named, or --all
./do format               bring every C++ file into the project's form
./do fault [NAME…|--all]  break a copy on purpose: does the test that must notice it? Without a name: what there is
./do bench                the speed of the link and of a draft, then the main job on releases made from real files (downloads once, about 150 MB)
./do bench link           the link's speed alone
./do clean                remove everything that was built
./do install-deps GROUP…  install the packages of build, test, slow or bench
TEXT
}

# --- stages: quiet unless they fail, each with its time ---------------------------------------------------------------

die() {
    printf '%s\n' "$*" >&2
    exit 1
}

# stage NAME COMMAND…: output goes to a log file; on failure its last lines and its place are shown.
stage() {
    local name=$1 log=$LOGS/${1// /-}.log start=$SECONDS rc=0
    shift
    mkdir -p "$LOGS"
    printf '  %-44s' "$name"
    "$@" </dev/null >"$log" 2>&1 || rc=$?
    if ((rc)); then
        printf 'failed after %d s\n\n' $((SECONDS - start))
        tail -n 60 "$log"
        die "
$name failed (exit $rc). The lines above are the end of ${log#"$PWD"/}"
    fi
    printf '%5d s\n' $((SECONDS - start))
}

# One job a core, but not more than memory allows (a heavy file takes 1.3 GB to compile).
jobs() {
    local by_memory
    by_memory=$(awk '/^MemAvailable:/ {print int($2 / 1500000)}' /proc/meminfo)
    local n
    n=$(nproc)
    ((by_memory < n)) && n=$by_memory
    echo $((n > 0 ? n : 1))
}

# --- packages ---------------------------------------------------------------------------------------------------------

as_root() { if ((EUID == 0)); then "$@"; else sudo "$@"; fi; }

packages_of() {
    local group
    for group in "$@"; do
        awk -v g="$group:" '/^#/ {on = ($2 == "group" && $3 == g); next} on && NF' tools/packages.txt
    done | sort -u
}

missing_of() {
    local package
    for package in $(packages_of "$@"); do
        [[ $(dpkg-query -W -f='${db:Status-Status}' "$package" 2>/dev/null) == installed ]] || echo "$package"
    done
}

apt_install() {
    local apt=(env DEBIAN_FRONTEND=noninteractive apt-get -y -q -o DPkg::Lock::Timeout=600 -o Acquire::Retries=3)
    as_root "${apt[@]}" update
    as_root "${apt[@]}" install --no-install-recommends "$@"
}

install_deps() {
    command -v dpkg-query >/dev/null ||
        die "No dpkg here: this script sets up Debian 12. Elsewhere, install what tools/packages.txt names and use cmake --preset."
    local missing
    mapfile -t missing < <(missing_of "$@")
    ((${#missing[@]})) || return 0
    ((EUID == 0)) || command -v sudo >/dev/null ||
        die "Packages are missing (${missing[*]}), and neither root nor sudo is there to install them."
    stage "install ${#missing[@]} packages ($*)" apt_install "${missing[@]}"
    mapfile -t missing < <(missing_of "$@")
    ((${#missing[@]} == 0)) || die "Still missing after installing: ${missing[*]}"
}

# --- building ---------------------------------------------------------------------------------------------------------

# build PRESET [TARGET…]
build() {
    local preset=$1
    shift
    stage "configure $preset" cmake --preset "$preset"
    stage "build $preset" cmake --build "build/$preset" -j "$(jobs)" ${@:+--target "$@"}
}

# --- commands ---------------------------------------------------------------------------------------------------------

demo() {
    local start=$SECONDS home=build/demo
    echo "Fettle: build the program, then one whole job on a virtual set of boxes"
    install_deps build
    build release
    echo "  built in $((SECONDS - start)) s"
    rm -rf "$home"
    mkdir -p "$home"
    echo
    build/release/apps/fettle/fettle --home "$home/home" rehearse --family dunnock --from 26.1.090 --to 27.3.118 --out "$home"
}

# The log of the tests by one preset; prints ctest's own closing lines last.
run_ctest() {
    local preset=$1 label=$2 name="tests $1 $2"
    local pick=(-LE slow)
    [[ $label == slow ]] && pick=(-L slow)
    # One more than there are cores: cases of boxes and runs wait for much of their time.
    stage "$name" ctest --test-dir "build/$preset" "${pick[@]}" -j $(($(nproc) + 1)) --output-on-failure --no-tests=error
    ! grep -E '\*\*\*(Skipped|Not Run)' "$LOGS/${name// /-}.log" ||
        die "tests were left out, see above: is a package missing?"
    closing+=("$(grep -E '^[0-9]+% tests passed' "$LOGS/${name// /-}.log") ($preset, $label)")
}

fuzz() {
    local target name line
    build fuzz fuzzers
    while read -r target; do
        name=$(basename "$target")
        mkdir -p "build/fuzz/corpus/$name"
        stage "fuzz $name ${FUZZ_SECONDS} s" "$target" -max_total_time="$FUZZ_SECONDS" -timeout=10 -rss_limit_mb=2048 \
            -artifact_prefix="build/fuzz/corpus/crash-$name-" "build/fuzz/corpus/$name" "tests/seeds/${name%_fuzz}"
        line=$(grep -E '^#[0-9]+.*cov: ' "$LOGS/fuzz-$name-${FUZZ_SECONDS}-s.log" | tail -n 1 || true)
        [[ -n $line ]] || die "the fuzzer of $name reported no coverage: was it built with the engine?"
        sed -E 's/^#([0-9]+).*cov: ([0-9]+) ft: ([0-9]+) corp: ([0-9]+).*/      \1 inputs, \2 edges, \3 features, corpus \4/' <<<"$line"
    done <build/fuzz/fuzzers.txt
}

slow_tests() {
    build clang
    build asan
    run_ctest asan fast
    run_ctest dev slow
    fuzz
    stage "seeded faults" tools/seeded_faults/run --all
}

test_all() {
    local slow=0 start=$SECONDS closing=()
    case ${1:-} in
        "") ;;
        --slow) slow=1 ;;
        *) die "./do test takes --slow or nothing, not $1" ;;
    esac
    echo "Fettle: build the tests and run them"
    install_deps build test
    ((slow)) && install_deps slow
    build dev
    run_ctest dev fast
    ((slow)) && slow_tests
    echo "  all in $((SECONDS - start)) s"
    echo
    if ((slow)); then printf '%s\n' "${closing[@]:1}"; fi
    grep -E '^Total Test time|^[0-9]+% tests passed' "$LOGS/tests-dev-fast.log" | tac
}

sources() { git ls-files '*.cc' '*.h'; }

lint() {
    install_deps build test slow
    stage "configure clang" cmake --preset clang
    local files
    if [[ ${1:-} == --all ]]; then
        mapfile -t files < <(sources)
    elif (($#)); then
        files=("$@")
    else
        mapfile -t files < <({ git diff --name-only --diff-filter=d HEAD; git ls-files -o --exclude-standard; } |
            grep -E '\.(cc|h)$' | sort -u)
    fi
    ((${#files[@]})) || { echo "  no C++ file has changed"; return 0; }
    stage "clang-format (${#files[@]} files)" clang-format-19 --dry-run -Werror "${files[@]}"
    mapfile -t files < <(printf '%s\n' "${files[@]}" | grep '\.cc$' || true)
    ((${#files[@]})) || return 0
    stage "clang-tidy (${#files[@]} files)" run_tidy "${files[@]}"
}

run_tidy() { printf '%s\0' "$@" | xargs -0 -n 1 -P "$(jobs)" clang-tidy-19 --quiet -p build/clang; }

case ${1:-help} in
    demo) demo ;;
    test) test_all "${@:2}" ;;
    build)
        case ${2:-dev} in
            release) install_deps build ;;
            dev) install_deps build test ;;
            clang | asan | fuzz) install_deps build test slow ;;
            *) die "no preset ${2}: dev, clang, release, asan or fuzz" ;;
        esac
        build "${2:-dev}"
        ;;
    lint) lint "${@:2}" ;;
    fault)
        install_deps build test
        tools/seeded_faults/run "${@:2}"
        ;;
    format)
        install_deps slow
        sources | xargs clang-format-19 -i
        ;;
    bench)
        install_deps build test bench  # of test: the Scapy client that the link is compared with
        build release
        ninja -C build/release link_speed
        build/release/bench/link_speed bench/link_scapy_client.py
        [ "${2:-}" = link ] || bench/draft_speed.sh build/release/apps/fettle/fettle
        [ "${2:-}" = link ] || bench/run_real.sh "${@:2}"
        ;;
    clean) rm -rf build ;;
    install-deps) install_deps "${@:2}" ;;
    help | --help | -h) usage ;;
    *)
        usage >&2
        exit 2
        ;;
esac
