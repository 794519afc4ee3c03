// Each case spoils one place of the example file and names the line and key where the mistake must be found. The line
// is that of the spoilt text itself, so no number is written down here.
#include <gtest/gtest.h>

#include <algorithm>

#include "fettle/base/files.h"
#include "fettle/base/source_path.h"
#include "fettle/family/family.h"

namespace fettle::family {
namespace {

const std::string& example() {
    static const std::string text = read_text_file(source_path("families/dunnock.toml")).value();
    return text;
}

struct Spoilt {
    const char* after;  // the change is made after this text …
    const char* from;   // … at the first place of this one
    const char* to;
    const char* key;
    const char* problem;  // part of it
    const char* next = "";
    bool elsewhere = false;  // the mistake shows at another line than the one spoilt
};
void PrintTo(const Spoilt& s, std::ostream* out) {
    *out << s.key << ": " << s.problem;
}

std::string describe(const std::vector<Finding>& findings) {
    std::string out;
    for (const Finding& f : findings) out += "line " + std::to_string(f.line) + " " + f.key + ": " + f.problem + "\n";
    return out;
}

void expect_mistake(const Spoilt& s) {
    std::string text = example();
    const auto start = text.find(s.after);
    ASSERT_NE(start, std::string::npos) << s.after;
    const auto at = text.find(s.from, start);
    ASSERT_NE(at, std::string::npos) << s.from;
    text.replace(at, std::string(s.from).size(), s.to);
    const int line =
        1 + static_cast<int>(std::count(text.begin(), text.begin() + static_cast<std::ptrdiff_t>(at), '\n'));
    const Loaded loaded = load_family_text(text);
    const auto hit = std::find_if(loaded.mistakes.begin(), loaded.mistakes.end(), [&](const Finding& f) {
        return f.key == s.key && f.problem.find(s.problem) != std::string::npos &&
               f.next.find(s.next) != std::string::npos;
    });
    ASSERT_NE(hit, loaded.mistakes.end()) << "wanted " << s.key << ": " << s.problem << "\n"
                                          << describe(loaded.mistakes);
    const bool removed = std::string(s.to).empty();
    if (!removed && !s.elsewhere) {
        EXPECT_EQ(hit->line, line) << describe(loaded.mistakes);
    }
    EXPECT_FALSE(hit->next.empty());
    EXPECT_FALSE(hit->unknown);
}

class OneMistake : public ::testing::TestWithParam<Spoilt> {};
TEST_P(OneMistake, IsFoundAtItsLineAndKey) {
    expect_mistake(GetParam());
}

INSTANTIATE_TEST_SUITE_P(
    Head, OneMistake,
    ::testing::Values(
        Spoilt{"[family]", "id = \"dunnock\"", "id = 7", "family.id", "is a whole number; a text was expected"},
        Spoilt{"[family]", "id = \"dunnock\"", "id = \"Dun nock\"", "family.id", "small letters"},
        Spoilt{"[family]", "marque =", "marqe =", "family.marqe", "not known here", "\"marque\" may be meant"},
        Spoilt{"[family]", "marque = \"Vellmoor\"\n", "", "family.marque", "is missing"},
        Spoilt{"[family]", "\"L5\"", "\"L9\"", "family.level", "one of these was expected"},
        Spoilt{"[family]", "2026-10-02", "\"soon\"", "family.newest_known.as_of", "a date was expected"},
        Spoilt{"[family]", "\"27.3.118\"", "\"27.1.110\"", "family.newest_known.release", "release 27.3.118 is newer"},
        Spoilt{"[family]", "\"numeric\"", "\"numerical\"", "family.version_order.rule", "one of these", "\"numeric\""},
        Spoilt{"[family]", "settle_s = 60", "settle_s = -1", "family.settle_s", "at least 0"},
        Spoilt{"[card]", "[card]", "[crad]", "crad", "not known here", "\"card\" may be meant"}));

INSTANTIATE_TEST_SUITE_P(
    Labels, OneMistake,
    ::testing::Values(
        Spoilt{"role = \"main\"", "\\d{5}", "\\d{5", "box[1].plate.pattern", "not of the form"},
        Spoilt{"role = \"main\"", "[\"6104183C5\"]", "[\"6104183C6\"]", "box[1].plate.examples[1]",
               "its check character must be 5"},
        Spoilt{"role = \"main\"", "[\"6104183C5\"]", "[\"610418AC5\"]", "box[1].plate.examples[1]",
               "character 7 is \"A\" where a digit was expected"},
        Spoilt{"role = \"main\"", "[\"6104183C5\"]", "[\"6104183\"]", "box[1].plate.examples[1]",
               "ends where a capital letter was expected"},
        Spoilt{"role = \"main\"", "\"6104183C4\"", "\"6104183C5\"", "box[1].plate.counter_examples[1]", "is accepted"},
        Spoilt{"role = \"main\"", "[\"role\", \"number\"]", "[\"rolle\"]", "box[1].plate.check.over[1]",
               "no field \"rolle\"", "\"role\""},
        Spoilt{"role = \"main\"", "values.role", "values.rolle", "box[1].plate.values.rolle", "no field", "\"role\""},
        Spoilt{"role = \"main\"", "\"61\" = \"main box\"", "\"62\" = \"main box\"", "box[1].plate.values.role.62",
               "can never be read"},
        Spoilt{"role = \"main\"", "role = \"main\"", "role = \"display\"", "box[2].role", "stands twice", "", true},
        Spoilt{"role = \"display\"", "written_by = \"main\"", "written_by = \"mian\"", "box[2].written_by", "\"mian\""},
        Spoilt{"role = \"main\"", "\"own medium\"", "\"display\"", "box[1].written_by", "write each other"},
        Spoilt{"role = \"main\"", "written_by = \"own medium\"", "written_by = \"own medium\"\nsupply = \"lead\"",
               "box[2].supply", "names no supply", "", true},
        Spoilt{"role = \"display\"", "<role>64", "<role>61", "box[1].plate.examples[1]",
               "is also a plate of the display", "", true},
        Spoilt{"[view]", "?P<release>", "?P<rel>", "view.pattern", "no field \"release\""},
        Spoilt{"[view]", "NS = \"north shore\"", "NSX = \"north shore\"", "view.values.market.NSX",
               "can never be read"},
        Spoilt{"[[pair]]", "main.line", "mian.line", "pair[1].rule", "names the role \"mian\""},
        Spoilt{"[[pair]]", "main.line", "main.colour", "pair[1].rule", "names the field \"colour\""},
        Spoilt{"[[pair]]", "==", "=", "pair[1].rule", "was expected"}));

INSTANTIATE_TEST_SUITE_P(
    Releases, OneMistake,
    ::testing::Values(
        Spoilt{"[[release]]", "\"26.1.090\"", "\"26.1.x\"", "release[1].release", "no version by the rule"},
        Spoilt{"[[release]]", "\"26.4.102\"", "\"26.1.090\"", "release[2].release", "stands twice"},
        Spoilt{"[[release]]", "counter = 0", "counter = 2", "release[2].counter", "a counter never falls", "correct",
               true},
        Spoilt{"[[release]]", "one_way_door = true", "one_way_door = false", "release[2].one_way_door", "no way back"},
        Spoilt{"[[release]]", "counter = 0", "counter = -3", "release[1].counter", "from 0 to"},
        Spoilt{"[package]", "key = \"", "key = \"0", "package.signature.key", "64 hex digits"},
        Spoilt{"[package.release]", "\"/release\"", "\"release\"", "package.release.release", "JSON pointer"},
        Spoilt{"[package.piece]", "file = \"/file\"\n", "", "package.piece.file", "is missing"},
        Spoilt{"[card]", "\"usb-stick\"", "\"floppy\"", "card.media[1]", "was expected"},
        Spoilt{"[card]", "[4, 8", "[5, 8", "card.cluster_kib[1]", "power of two"},
        Spoilt{"[card]", "max_bytes = 34359738368", "max_bytes = 1", "card.max_bytes", "below min_bytes"},
        Spoilt{"[card]", "label =", "in_turn = { most = 1, index_on = \"every card\" }\nlabel =", "card.in_turn.most",
               "2 to 9"},
        Spoilt{"[card]", "label =", "in_turn = { most = 2, index_on = \"both\" }\nlabel =", "card.in_turn.index_on",
               "one of these"},
        Spoilt{"[card]",
               "label =", "in_turn = { most = 2, each_bytes = 40000000000, index_on = \"first card\" }\nlabel =",
               "card.in_turn.each_bytes", "above max_bytes"},
        Spoilt{"[card]", "\"DUNNOCK\"", "\"DUNNOCK-STICK\"", "card.label", "11 characters"},
        Spoilt{"[card]", "\"fat32\"", "\"fat3\"", "card.file_system", "one of these", "\"fat32\""}));

INSTANTIATE_TEST_SUITE_P(
    Writes, OneMistake,
    ::testing::Values(
        Spoilt{"[[region]]", "rate_mib_s = 0.10", "rate_mib_s = -0.10", "region[1].rate_mib_s", "at least"},
        Spoilt{"[[region]]", "rate_mib_s = 0.10", "rate_mib_s = inf", "region[1].rate_mib_s", "at least"},
        Spoilt{"[[region]]", "rate_mib_s = 0.10", "rate_mib_s = nan", "region[1].rate_mib_s", "at least"},
        Spoilt{"[[region]]", "\"measured 12\"", "\"measured\"", "region[1].source", "was expected"},
        Spoilt{"[[region]]", "box = \"main\"", "box = \"mian\"", "region[1].box", "the boxes are",
               "\"main\" may be meant"},
        Spoilt{"[[region]]", "name = \"start\"", "name = \"recovery\"", "region[2].name", "stands twice"},
        Spoilt{"words = \"display system\"", "selected_by = \"active\"\n", "", "region[5].selected_by", "is missing"},
        Spoilt{"words = \"display system\"", "\"active\"", "\"actve\"", "region[5].selected_by", "the flag \"actve\""},
        Spoilt{"name = \"active\"", "[\"a\", \"b\"]", "[\"a\", \"c\"]", "region[5].selected_by",
               "takes \"a\" and \"b\"", "name", true},
        Spoilt{"name = \"update\"", "start = \"none\"", "start = \"never\"", "flag[1].start",
               "not one of its values"}));

INSTANTIATE_TEST_SUITE_P(
    Script, OneMistake,
    ::testing::Values(
        Spoilt{"id = \"reading\"", "p90 = 60", "p90 = 20", "act[1].seconds.p90", "below the median"},
        Spoilt{"id = \"reading\"", "p99_A = 2.4", "p99_A = 1.0", "act[1].current.p99_A", "below the mean"},
        Spoilt{"id = \"reading\"", "shows =", "region =", "act[1].region", "means nothing here"},
        Spoilt{"id = \"comparing\"", "\"comparing\"", "\"reading\"", "act[2].id", "stands twice"},
        Spoilt{"id = \"recovery\"", "region = \"recovery\"", "region = \"recvery\"", "act[3].region",
               "has the regions recovery, start, kernel, system", "\"recovery\" may be meant"},
        Spoilt{"id = \"recovery\"", "forced = true", "store = \"spare\"", "act[3].store", "has one store"},
        Spoilt{"id = \"pending\"", "flag = \"update\"", "flag = \"updte\"", "act[4].flag", "does not have"},
        Spoilt{"id = \"pending\"", "value = \"pending\"", "value = \"begun\"", "act[4].value", "takes none, pending"},
        Spoilt{"id = \"pending\"", "value = \"pending\"", "value = \"other\"", "act[4].value", "toggles"},
        Spoilt{"id = \"dark-1\"", "into = \"recovery\"", "into = \"sleep\"", "act[5].into",
               "rules for recovery, normal"},
        Spoilt{"id = \"dark-1\"", "box = \"main\"", "box = \"amp\"", "act[5].box", "the boxes are main, display"},
        Spoilt{"id = \"kernel\"", "box = \"main\"", "box = \"all\"", "act[7].box", "only for a restart"},
        Spoilt{"id = \"asks\"", "\"goes on\"", "\"stops\"", "act[9].answers", "lets the run go on"},
        Spoilt{"id = \"asks\"", "\"turn\"", "\"nothing\"", "act[9].answers[1].after_s", "is missing"},
        Spoilt{"id = \"asks\"", "\"knob\"", "\"lever\"", "act[9].control", "one of these"},
        Spoilt{"id = \"asks\"", "control = \"knob\"", "control = \"knob\"\narea = \"left\"", "act[9].area",
               "only a touch", "", true},
        Spoilt{"id = \"display\"", "store = \"spare\"\n", "", "act[10].store", "has two stores"},
        Spoilt{"id = \"end\"", "kind = \"end\"", "kind = \"wait\"", "act", "the script has no end", "kind = \"end\"",
               true},
        Spoilt{"id = \"settled\"", "kind = \"set\"", "kind = \"end\"", "act[14].kind", "a second \"end\"", "once",
               true}));

INSTANTIATE_TEST_SUITE_P(
    BootAndLink, OneMistake,
    ::testing::Values(
        Spoilt{"[[boot]]", "[\"start\", \"recovery\"]", "[\"start\", \"rescue\"]", "boot[1].needs[2]",
               "has the regions"},
        Spoilt{"[[boot]]", "update = \"pending\"", "update = \"on\"", "boot[1].when.update", "takes none, pending"},
        Spoilt{"[[boot]]", "update = \"pending\"", "upgrade = \"pending\"", "boot[1].when.upgrade", "does not have"},
        Spoilt{"[[boot]]", "\"with the card\"", "\"by card\"", "boot[1].goes_on", "one of these"},
        Spoilt{"[[boot]]", "store = \"spare\"", "store = \"active\"", "boot[5].needs", "rule 4, tried before it",
               "stricter", true},
        Spoilt{"id = \"pending\"", "value = \"pending\"", "value = \"none\"", "boot[1].when.update",
               "no act sets it to \"pending\"", "add the act", true},
        Spoilt{"[[pair]]", "display.line == main.line", "display.line >= main.build", "pair[1].rule",
               "no two of the known releases"},
        Spoilt{"[[bench_repair]]", "box = \"main\"", "box = \"amp\"", "bench_repair[1].box", "the boxes are"},
        Spoilt{"[supply]", "support_V = 13.5", "support_V = 9", "supply.support_V", "below lowest_V"},
        Spoilt{"[tally]", "\"SAME\"", "\"NEW\"", "tally.passed_over", "as landed is"},
        Spoilt{"role = \"display\"\naddress", "0x1042", "0x1041", "link[2].address", "0x1041"},
        Spoilt{"[[link]]", "0x1041", "0x11041", "link[1].address", "from 1 to 65535"},
        Spoilt{"[[link]]", "did_plate = 0xF187", "did_plate = 0x1F187", "link[1].did_plate", "from 1 to 65535"},
        Spoilt{"[[fault]]", "\"B1A4F-13\"", "\"B1A4F\"", "fault[1].code", "such as B1A4F-13"},
        Spoilt{"[[fault]]", "[[fault]]",
               "[[mend]]\nkind = \"recovery card\"\nwords = \"w\"\nsource = \"guess\"\n"
               "writes = [\"main.attic\"]\n[[fault]]",
               "mend[1].writes[1]", "no region of a box", "", true},
        Spoilt{"[[fault]]", "ask = \"asks\"", "ask = \"dark-1\"", "fault[1].ask", "no act with kind = \"ask\""},
        Spoilt{"[[hold]]", "id = \"ignition\"", "id = \"doors\"", "hold[2].id", "stands twice"},
        Spoilt{"[[message]]", "\"Update complete\"", "\"Stick not read\"", "message[3].text", "stands twice"}));

TEST(CheckFamily, AllMistakesComeInOnePassSortedByLine) {
    std::string text = example();
    for (const auto& [from, to] : {std::pair{"marque =", "marqe ="},
                                   {"rate_mib_s = 0.10", "rate_mib_s = \"fast\""},
                                   {"p90 = 60", "p90 = 6"},
                                   {"0x1042", "0x1041"}})
        text.replace(text.find(from), std::string(from).size(), to);
    const Loaded loaded = load_family_text(text);
    ASSERT_EQ(loaded.mistakes.size(), 5u) << describe(loaded.mistakes);  // marqe is unknown and marque missing
    EXPECT_TRUE(std::is_sorted(loaded.mistakes.begin(), loaded.mistakes.end(),
                               [](const Finding& a, const Finding& b) { return a.line < b.line; }));
}

TEST(CheckFamily, TextThatIsNoTomlIsOneMistakeWithItsLine) {
    const Loaded loaded = load_family_text("[family]\nid = \"x\nmarque = 3\n");
    ASSERT_EQ(loaded.mistakes.size(), 1u);
    EXPECT_EQ(loaded.mistakes[0].line, 2);
    EXPECT_NE(loaded.mistakes[0].problem.find("not TOML"), std::string::npos);
}

TEST(CheckFamily, AnEmptyFileMissesFamilyAndBox) {
    const Loaded loaded = load_family_text("");
    ASSERT_EQ(loaded.mistakes.size(), 2u) << describe(loaded.mistakes);
    EXPECT_EQ(loaded.mistakes[0].key, "box");
    EXPECT_EQ(loaded.mistakes[1].key, "family");
}

TEST(CheckFamily, HostileInputIsBounded) {
    EXPECT_EQ(load_family_text(std::string(2'000'000, '#')).mistakes.size(), 1u);
    EXPECT_FALSE(load_family_text("a = " + std::string(100'000, '[')).mistakes.empty());
    EXPECT_FALSE(load_family_text("[" + std::string(50'000, 'a') + "]\n").mistakes.empty());
    std::string many;
    for (int i = 0; i < 5000; ++i) many += "[[act]]\n";
    const Loaded loaded = load_family_text(many);
    EXPECT_LT(loaded.mistakes.size(), 20u);
    std::string dots = "a";
    for (int i = 0; i < 5000; ++i) dots += ".a";
    load_family_text(dots + " = 1\n");  // must not run out of stack
}

TEST(LoadFamily, NamesTheFirstMistakesAndHowToSeeAll) {
    const auto r = load_family(source_path("tests/seeds/family_load/many_mistakes.toml"));
    ASSERT_FALSE(r);
    EXPECT_EQ(r.error().kind, ErrorKind::bad_input);
    EXPECT_EQ(r.error().code, "family-file-mistakes");
    EXPECT_NE(r.error().problem.find("line "), std::string::npos);
    ASSERT_NE(r.error().next.proposal(), nullptr);
    EXPECT_EQ(r.error().next.proposal()->act, fettle::Act::check_family);
    EXPECT_FALSE(load_family("/nowhere.toml"));
}

// --- what is left open ---

bool open_at(const Loaded& l, const std::string& key) {
    return std::any_of(l.unknowns.begin(), l.unknowns.end(), [&](const Finding& f) { return f.key == key; });
}

TEST(Unknowns, TheExampleLeavesOneThingOpen) {
    const Loaded l = load_family_text(example());
    ASSERT_EQ(l.unknowns.size(), 1u) << describe(l.unknowns);
    EXPECT_EQ(l.unknowns[0].problem, "no bench repair is named for the display box");
}

TEST(Unknowns, ATableThatIsNotLaidIsNamedBeforeAnybodyTries) {
    std::string text = example();
    const std::string_view mbr = "table = \"mbr\"";
    const auto at = text.find(mbr);
    ASSERT_NE(at, std::string::npos);
    text.replace(at, mbr.size(), "table = \"gpt\"");
    Loaded l = load_family_text(text);
    EXPECT_TRUE(l.mistakes.empty()) << describe(l.mistakes);
    EXPECT_TRUE(open_at(l, "card.table"));
    l = load_family_text(example());
    EXPECT_FALSE(open_at(l, "card.table"));
}

TEST(Unknowns, EachSaysWhatWaits) {
    const Loaded l = load_family_text(
        "[family]\nid = \"thin\"\nmarque = \"Vellmoor\"\nwords = \"thin\"\nlevel = \"L0\"\n"
        "[[box]]\nrole = \"main\"\nwords = \"main box\"\n[box.plate]\npattern = '\\d{4}'\nexamples = [\"1234\"]\n");
    EXPECT_TRUE(l.mistakes.empty()) << describe(l.mistakes);
    for (const char* key : {"box[1].written_by", "box[1].kind", "box[1].plate.check", "view", "family.version_order",
                            "family.newest_known", "release", "package", "card", "region", "act", "boot", "supply",
                            "tally", "message", "link", "hold", "try"})
        EXPECT_TRUE(open_at(l, key)) << key;
    for (const Finding& f : l.unknowns) {
        EXPECT_TRUE(f.unknown);
        EXPECT_FALSE(f.next.empty()) << f.key;
    }
}

TEST(Unknowns, FiguresThatAreLeftOut) {
    std::string text = example();
    text.replace(text.find("buffered_s = 2\n"), 15, "");
    text.replace(text.find("counter = 1\n"), 12, "");
    const Loaded l = load_family_text(text);
    EXPECT_TRUE(open_at(l, "region[1].buffered_s"));
    EXPECT_FALSE(l.family.regions[0].buffered_s);
}

}  // namespace
}  // namespace fettle::family
