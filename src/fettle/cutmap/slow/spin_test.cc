// The map's outcomes against SPIN's, for small random families: the model that promela() writes is searched by SPIN, an
// explicit-state model checker that nobody here wrote (Debian's spin 6.5). What it reaches must be what the map says.
//   cutmap_spin_test [MODELS]: how many families; FETTLE_RANDOM_SEED draws others
#include <fmt/format.h>
#include <gtest/gtest.h>
#include <unistd.h>

#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <map>
#include <random>

#include "fettle/change/test_releases.h"
#include "fettle/cutmap/slow/test_promela.h"
#include "fettle/cutmap/test_random.h"
#include "fettle/forecast/forecast.h"

namespace fettle::cutmap {
namespace {

int models = 12;

struct Folder {
    std::filesystem::path path = std::filesystem::temp_directory_path() / fmt::format("fettle-spin-{}", ::getpid());
    Folder() { std::filesystem::create_directories(path); }
    ~Folder() {
        std::error_code ignored;
        if (std::getenv("FETTLE_SHOW") == nullptr) std::filesystem::remove_all(path, ignored);
    }
};

std::string first_lines(const std::filesystem::path& file) {
    std::ifstream in(file);
    std::string out, line;
    for (int i = 0; i < 5 && std::getline(in, line); ++i) out += "\n  " + line;
    return out;
}

using Reached = std::map<int, std::pair<Outcomes, Outcomes>>;  // moment → with one cut, with up to all

// What SPIN reaches; nothing when a step of it failed, which is then told in `trouble`.
Reached ask_spin(const Folder& folder, const std::string& model, std::string& trouble) {
    std::ofstream(folder.path / "m.pml") << model;
    const auto run = [&](const std::string& command) {
        return std::system(fmt::format("cd '{}' && {}", folder.path.string(), command).c_str());
    };
    Reached out;
    if (run("spin -DLIST -a m.pml > spin.txt 2>&1") != 0) {
        trouble = "spin refuses the model:" + first_lines(folder.path / "spin.txt");
        return out;
    }
    if (run("${CC:-cc} -O0 -w -DSAFETY -DNOREDUCE -DVECTORSZ=4096 -o pan pan.c > cc.txt 2>&1") != 0) {
        trouble = "pan.c does not compile:" + first_lines(folder.path / "cc.txt");
        return out;
    }
    if (run("./pan -m200000 -n > pan.txt 2>&1") != 0) trouble = "the search failed";
    std::ifstream in(folder.path / "pan.txt");
    std::string line;
    bool whole = false;
    while (std::getline(in, line)) {
        int moment = 0, cuts = 0, outcome = 0;
        if (std::sscanf(line.c_str(), "outcome %d %d %d", &moment, &cuts, &outcome) == 3) {
            auto& at = out[moment];
            if (cuts == 1) at.first.insert(static_cast<Outcome>(outcome));
            at.second.insert(static_cast<Outcome>(outcome));
        }
        if (line.find("errors: 0") != std::string::npos) whole = true;
        if (line.find("max search depth too small") != std::string::npos) trouble = "the search was cut short";
    }
    if (!whole && trouble.empty())
        trouble = "the search found an error or did not end:" + first_lines(folder.path / "pan.txt");
    return out;
}

// Does SPIN prove that every way comes to its end (a property of liveness, searched for accepting cycles)?
bool spin_says_it_ends(const Folder& folder, std::string& trouble) {
    const auto run = [&](const std::string& command) {
        return std::system(fmt::format("cd '{}' && {}", folder.path.string(), command).c_str());
    };
    if (run("spin -DENDS -a m.pml > spin.txt 2>&1") != 0 ||
        run("${CC:-cc} -O0 -w -DNOREDUCE -DVECTORSZ=4096 -o pan pan.c > cc.txt 2>&1") != 0)
        trouble += "\nno search for the end: " + first_lines(folder.path / "spin.txt");
    if (run("./pan -a -m200000 -n > pan.txt 2>&1") != 0) trouble += "\nthe search for the end failed";
    std::ifstream in(folder.path / "pan.txt");
    std::string line;
    bool ends = false, whole = false;
    while (std::getline(in, line)) {
        if (line.find("errors: ") != std::string::npos) whole = true;
        if (line.find("errors: 0") != std::string::npos) ends = true;
        if (line.find("max search depth too small") != std::string::npos) whole = false;
    }
    if (!whole) trouble += "\nthe search for the end was cut short:" + first_lines(folder.path / "pan.txt");
    return ends;
}

// What the model's numbers stand for: the first moment of each act.
std::map<std::string, int> numbers_of(const family::Family& family, const change::ChangeSheet& sheet) {
    std::map<std::string, int> number;
    int next = 0;
    for (const auto& act : family.script) {
        number[act.id] = next;
        int cells = 0;
        if (act.kind == family::ActKind::write)
            for (const auto& l : sheet.lines)
                if (l.box == act.box && l.region == act.region && l.action == change::Action::replace) ++cells;
        next += std::max(1, cells);
    }
    return number;
}

// What SPIN says otherwise than the map, moment by moment; empty: nothing.
std::string differences(const Folder& folder, const family::Family& family, const change::ChangeSheet& sheet,
                        const CutMap& map, int cuts) {
    std::string out;
    const auto reached = ask_spin(folder, promela(family, sheet, cuts), out);
    const auto number = numbers_of(family, sheet);
    std::set<int> told;
    for (const auto& m : map.moments) {
        const int at = number.at(m.act) + std::max(0, m.cell);
        told.insert(at);
        const auto found = reached.find(at);
        const auto [one, up_to_all] = found == reached.end() ? std::pair<Outcomes, Outcomes>() : found->second;
        const Outcomes& all = cuts > 1 ? m.two_cuts : m.outcomes;
        if (one != m.outcomes || up_to_all != all)
            out += fmt::format("\n{} cell {} (moment {}): map {}/ {}; spin {}/ {}", m.act, m.cell, at,
                               random_families::told(m.outcomes), random_families::told(all),
                               random_families::told(one), random_families::told(up_to_all));
    }
    for (const auto& [at, outcomes] : reached)
        if (told.count(at) == 0) out += fmt::format("\nspin cuts at moment {}, which the map has not", at);
    return out;
}

TEST(Spin, ReachesWhatTheMapSays) {
    const char* given = std::getenv("FETTLE_RANDOM_SEED");
    const std::uint64_t seed = given != nullptr ? std::strtoull(given, nullptr, 10) : std::random_device()();
    const Folder folder;
    std::size_t moments = 0;
    int bad = 0, ending = 0;
    for (int i = 0; i < models && bad < 3; ++i) {
        const rc::Random random(seed + static_cast<std::uint64_t>(i));
        const auto drawn = rc::gen::exec([] {
            const auto f = random_families::random_family();
            return std::make_pair(f, random_families::random_sheet(f));
        })(random, rc::kNominalSize);
        auto [family, sheet] = drawn.value();
        for (auto& r : family.regions)  // some cells of a run are on the medium, the newest are not
            if (i % 2 == 1 && r.buffered_s && *r.buffered_s > 0) r.buffered_s = 4;
        const auto map = power_cut_map(family, sheet, forecast::forecast(family, sheet, {}), 2);
        moments += map.moments.size();
        std::string found = differences(folder, family, sheet, map, 2);
        if (i % 4 == 0 || models > 100) {
            const bool proved = std::any_of(map.judgement.reasons.begin(), map.judgement.reasons.end(),
                                            [](const Reason& r) { return r.code == "always-ends"; });
            if (spin_says_it_ends(folder, found) != proved)
                found += fmt::format("\nthe map {} that it always ends", proved ? "proves" : "does not say");
            ending += proved ? 1 : 0;
        }
        if (!found.empty()) {
            ++bad;
            ADD_FAILURE() << "family " << i << " of FETTLE_RANDOM_SEED=" << seed << ": " << found << "\n"
                          << (std::getenv("FETTLE_SHOW") != nullptr ? promela(family, sheet, 2) : "");
        }
    }
    EXPECT_GE(moments, 2 * static_cast<std::size_t>(models));
    fmt::print("{} families, {} moments, {} proved to end, seed {}\n", models, moments, ending, seed);
}

TEST(Spin, ReachesWhatTheMapSaysOfTheExampleFamily) {
    using namespace change::test;
    const auto family = dunnock();
    const auto set = set_at("27.1.110");
    const auto sheet =
        change::change_sheet(family, release("27.3.118", "4.0"), change::infer(release("27.1.110", "3.0"), set), set);
    const auto map = power_cut_map(family, sheet, forecast::forecast(family, sheet, {}), 1);
    EXPECT_GE(map.moments.size(), 15u);
    EXPECT_EQ(differences(Folder(), family, sheet, map, 1), "");
}

}  // namespace
}  // namespace fettle::cutmap

int main(int argc, char** argv) {
    testing::InitGoogleTest(&argc, argv);
    if (argc > 1) fettle::cutmap::models = std::max(1, std::atoi(argv[1]));
    return RUN_ALL_TESTS();
}
