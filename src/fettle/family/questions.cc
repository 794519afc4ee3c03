#include "fettle/family/questions.h"

#include <algorithm>
#include <set>

namespace fettle::family {
namespace {

struct Asked {
    const char* key;
    const char* words;
};
// Every key that list_unknowns() gives; equally useful ones are asked in this order, which is that of the job.
constexpr Asked asked[] = {
    {"package", "Where is the index of a package, and what stands where in it?"},
    {"family.version_order", "Which of two releases is newer?"},
    {"act", "What does a run do, state by state, how long is each, and where does it ask?"},
    {"boot",
     "What does the box do when power returns half-way? (Never seen in good runs: the maker's paper, or a box that "
     "may be lost.)"},
    {"card", "Which cards does the box take?"},
    {"region", "Where is each piece written, and how fast?"},
    {"supply", "What does the box need of its supply, at the least?"},
    {"act.seconds", "How long does each state last?"},
    {"act.current", "What does the box draw in each state?"},
    {"act.control", "With which control is each ask answered?"},
    {"region.rate_mib_s", "How fast is each region written?"},
    {"region.buffered_s", "How long may a region hold back what it reported written?"},
    {"bench_repair", "Which repair on the bench is there, when it no longer starts?"},
    {"view", "How does the box show its release?"},
    {"box.written_by", "What writes each box: its own medium, or another box?"},
    {"pair", "Which releases of the boxes go together?"},
    {"release", "Which releases are there, which must come between, and past which is there no way back?"},
    {"release.counter", "Which rollback counter does each release leave?"},
    {"family.newest_known", "Which release is the newest, and as of when?"},
    {"package.signature", "Does the maker sign the index, and with which key?"},
    {"package.piece.sha256", "Does the maker give SHA-256 or SHA-512 anywhere?"},
    {"card.table", "By what other means can the table be laid that the box wants?"},
    {"tally", "What does the box call its counts?"},
    {"message", "Which texts does the box show, and what do they mean?"},
    {"hold", "What must stay true during a run?"},
    {"screen", "Where on the screen are the touches?"},
    {"link", "Can the box be read over the diagnostic link, and at which address?"},
    {"box.kind", "What kind of control unit is each box?"},
    {"box.plate.check", "Is a character of the plate a check character?"},
    {"box.plate.likely", "What do the fields of the plate mean that are only likely?"},
    {"view.likely", "What do the fields of the view mean that are only likely?"},
    {"try", "What is to be tried after a run?"},
};

struct Said {  // an answer of another room, and what it waits for
    const char* what;
    std::vector<std::string_view> needs;
};
const std::vector<Said>& answers() {
    static const std::vector<Said> all = {
        {"identify: the release that the box shows", {"view", "view.likely"}},
        {"identify: a misread plate told from a right one", {"box.plate.check"}},
        {"identify: what the fields of a plate decide", {"box.plate.likely"}},
        {"shelve: each file held against its digest", {"package"}},
        {"shelve: whole against intent, not only against accident", {"package.piece.sha256"}},
        {"shelve: whose package it is", {"package.signature"}},
        {"plan: what is an update and what a way back", {"family.version_order"}},
        {"plan: the route", {"family.version_order", "package"}},
        {"plan: what must come between, and where no way back is", {"release"}},
        {"plan: whether there is a way back past a release", {"release.counter"}},
        {"plan: what \"newest\" is beyond the shelf", {"family.newest_known"}},
        {"plan: whether a set may be mixed", {"pair"}},
        {"plan: whether one card serves the set", {"box.written_by"}},
        {"plan: how long it takes", {"act", "act.seconds", "region", "region.rate_mib_s"}},
        {"plan: what a power cut would do", {"boot", "act", "region", "bench_repair"}},
        {"plan: the power-cut map without every order of what is held back", {"region.buffered_s"}},
        {"lay and audit: by what this box takes", {"card"}},
        {"lay: here, not by other means", {"card.table"}},
        {"ready: whether the supply lasts", {"supply", "act", "act.seconds", "act.current"}},
        {"ready: which controls must answer", {"act", "act.control"}},
        {"ready: where on the screen to try the touch", {"act", "screen"}},
        {"ready: how long it must be left alone", {"act", "act.seconds", "region", "region.rate_mib_s"}},
        {"ready: whether a power cut has a way back", {"boot", "act", "region"}},
        {"ready: what must stay true in this family", {"hold"}},
        {"watch: where the run is", {"act"}},
        {"watch: when hands are needed", {"act", "act.seconds"}},
        {"watch: slow or stuck", {"act", "act.seconds"}},
        {"watch: the same by the current", {"act", "act.seconds", "act.current"}},
        {"watch: what a text on the screen means", {"message"}},
        {"watch: whether its counts are as planned", {"tally", "package"}},
        {"mend: what may be tried after a broken run", {"boot", "act", "region"}},
        {"prove: piece by piece over the link", {"link", "package"}},
        {"prove: by its counts", {"tally", "package"}},
        {"prove: by what was tried", {"try"}},
        {"faults: what the run left behind, read", {"link"}},
        {"faults: cleared when explained", {"box.kind"}},
    };
    return all;
}

const char* words_of(std::string_view key) {
    for (const Asked& a : asked)
        if (key == a.key) return a.words;
    return nullptr;
}

}  // namespace

std::string key_without_numbers(std::string_view key) {
    std::string out;
    bool within = false;
    for (const char c : key) {
        within = within || c == '[';
        if (!within) out += c;
        within = within && c != ']';
    }
    return out;
}

std::vector<Question> questions_of(const std::vector<Finding>& unknowns) {
    std::vector<Question> open;
    for (const Finding& u : unknowns) {
        const std::string key = key_without_numbers(u.key);
        auto at = std::find_if(open.begin(), open.end(), [&](const Question& q) { return q.key == key; });
        if (at == open.end()) {
            const char* words = words_of(key);
            open.push_back({key, words ? words : u.problem, {}, {}, {}});
            at = open.end() - 1;
        }
        at->at.push_back(u);
    }
    const auto rank = [](const Question& q) {
        return std::find_if(std::begin(asked), std::end(asked), [&](const Asked& a) { return q.key == a.key; }) -
               std::begin(asked);
    };
    std::sort(open.begin(), open.end(), [&](const Question& a, const Question& b) { return rank(a) < rank(b); });

    std::set<std::string> missing;
    for (const Question& q : open) missing.insert(q.key);
    std::vector<std::pair<const Said*, std::set<std::string>>> waiting;
    for (const Said& s : answers()) {
        std::set<std::string> needs;
        for (const std::string_view n : s.needs)
            if (missing.contains(std::string(n))) needs.insert(std::string(n));
        if (!needs.empty()) waiting.emplace_back(&s, std::move(needs));
    }
    std::vector<Question> out;
    while (!open.empty()) {
        const auto worth = [&](const Question& q) {
            double alone = 0, nearer = 0;
            for (const auto& [said, needs] : waiting) {
                if (!needs.contains(q.key)) continue;
                alone += needs.size() == 1;
                nearer += 1 / static_cast<double>(needs.size());
            }
            return std::pair(alone, nearer);
        };
        auto best = open.begin();
        for (auto at = open.begin(); at != open.end(); ++at)
            if (worth(*at) > worth(*best)) best = at;
        Question q = std::move(*best);
        open.erase(best);
        for (auto& [said, needs] : waiting) {
            if (needs.erase(q.key) == 0) continue;
            (needs.empty() ? q.unlocks : q.towards).emplace_back(said->what);
        }
        std::erase_if(waiting, [](const auto& w) { return w.second.empty(); });
        out.push_back(std::move(q));
    }
    return out;
}

}  // namespace fettle::family
