// fettle-maker: packages of the example families for case files, with real digests and the example maker's signature.
//   fettle-maker --folder=DIR --release=27.3.118 [--like=RELEASE] [--seed=N] [--size=BYTES] [--market=NS,MD]
//                [--installs-from=RELEASE] [--counter=N|none] [--no-return=yes|no] [--cures=TEXT] [--family=FILE]
// The history is that of the family file's id: dunnock, brill or pelm; of any other, dunnock's. `like` names the
// release of the example history that it is made after (default: the release itself).
#include <fmt/format.h>

#include <algorithm>
#include <cstdio>
#include <map>
#include <string>

#include "fettle/base/source_path.h"
#include "fettle/standin/maker.h"

namespace {

using Options = std::map<std::string, std::string>;

const char* const known[] = {"folder",        "release", "like",      "seed",  "size",  "market",
                             "installs-from", "counter", "no-return", "cures", "family"};

// --name=value …; an empty map when a word is not understood.
Options options_of(int argc, char** argv) {
    Options found;
    for (int i = 1; i < argc; ++i) {
        const std::string word = argv[i];
        const auto equals = word.find('=');
        if (word.rfind("--", 0) != 0 || equals == std::string::npos) return {};
        const std::string name = word.substr(2, equals - 2);
        if (std::find(std::begin(known), std::end(known), name) == std::end(known)) return {};
        found[name] = word.substr(equals + 1);
    }
    return found;
}

std::vector<std::string> split_at_commas(const std::string& text) {
    std::vector<std::string> parts;
    std::size_t from = 0;
    while (from <= text.size()) {
        const auto comma = std::min(text.find(',', from), text.size());
        if (comma > from) parts.push_back(text.substr(from, comma - from));
        from = comma + 1;
    }
    return parts;
}

int fail(const std::string& message) {
    fmt::print(stderr, "fettle-maker: {}\n", message);
    return 1;
}

}  // namespace

int main(int argc, char** argv) {
    using namespace fettle;
    Options given = options_of(argc, argv);
    if (!given.count("folder") || !given.count("release")) return fail("needs --folder=DIR and --release=NAME");
    const auto value = [&](const char* name, const char* otherwise) {
        return given.count(name) ? given[name] : std::string(otherwise);
    };
    const auto family = family::load_family(value("family", source_path("families/dunnock.toml").c_str()));
    if (!family) return fail(family.error().message());

    const std::string like = value("like", given["release"].c_str());
    const std::uint64_t size = std::stoull(value("size", "200000"));
    auto history = standin::example_history(family->id, size);
    if (history.empty()) history = standin::dunnock_history(size);
    const auto found = std::find_if(history.begin(), history.end(), [&](const auto& s) { return s.release == like; });
    if (found == history.end()) return fail("the example history has no release " + like);

    standin::ReleaseSpec spec = *found;
    spec.release = given["release"];
    if (given.count("market")) spec.markets = split_at_commas(given["market"]);
    if (given.count("installs-from")) spec.installs_from = given["installs-from"];
    if (given.count("counter")) spec.counter.reset();
    if (given.count("counter") && given["counter"] != "none") spec.counter = std::stoll(given["counter"]);
    if (given.count("no-return")) spec.one_way_door = given["no-return"] == "yes";
    if (given.count("cures")) spec.cures = split_at_commas(given["cures"]);
    if (spec.release != like)
        for (auto& piece : spec.pieces)
            if (piece.version == like) piece.version = spec.release;
    const auto made = standin::make_package(*family, spec, std::stoull(value("seed", "1")), given["folder"]);
    if (!made) return fail(made.error().message());
    fmt::print("{} {} pieces {} bytes\n", made->release, made->pieces.size(), made->bytes());
    return 0;
}
