#include "fettle/show/shelf_care.h"

#include <fmt/core.h>

#include <array>

#include "fettle/base/json.h"
#include "fettle/base/text.h"

namespace fettle::show {
namespace {

using shelf::Compared;
using shelf::Difference;

struct Sum {
    std::uint64_t files = 0, bytes = 0;
};
using Sums = std::array<Sum, 5>;

std::size_t at(Difference d) {
    return static_cast<std::size_t>(d);
}

std::string file_line(const Compared::File& f) {
    const std::string where = f.box.empty() ? printable(f.after.empty() ? f.before : f.after)
                                            : fmt::format("{} {}", f.box, printable(f.piece));
    std::string sizes = human_bytes(f.difference == Difference::gone ? f.bytes_before : f.bytes_after);
    if (f.difference == Difference::changed && f.bytes_before != f.bytes_after)
        sizes = fmt::format("{}, was {}", sizes, human_bytes(f.bytes_before));
    return fmt::format("  {:<9} {}  {}\n", words(f.difference), where, sizes);
}

json::object file_json(const Compared::File& f) {
    return {{"difference", f.difference == Difference::unknown ? "cant-say" : words(f.difference)},
            {"box", f.box},
            {"piece", f.piece},
            {"before", f.before},
            {"after", f.after},
            {"bytes_before", f.bytes_before},
            {"bytes_after", f.bytes_after}};
}

std::string headline_of(const Sums& sums, const workshop::CompareRequest& asked) {
    const auto said = [&](Difference d) {
        return fmt::format("{} {} ({})", sums[at(d)].files, words(d), human_bytes(sums[at(d)].bytes));
    };
    return fmt::format("From {} to {}: {}, {}, {}, {}.", printable(asked.before), printable(asked.after),
                       said(Difference::added), said(Difference::changed), said(Difference::gone),
                       said(Difference::equal));
}

}  // namespace

Answer compared(const Compared& compared, const workshop::CompareRequest& asked, bool all) {
    Sums sums{};
    Answer a;
    json::array files;
    for (const Compared::File& f : compared.files) {
        Sum& sum = sums[at(f.difference)];
        ++sum.files;
        sum.bytes += f.difference == Difference::gone ? f.bytes_before : f.bytes_after;
        if (f.difference == Difference::equal && !all) continue;
        a.text += file_line(f);
        files.push_back(file_json(f));
    }
    a.headline = headline_of(sums, asked);
    const std::uint64_t unknown = sums[at(Difference::unknown)].files;
    if (unknown > 0)
        a.judgement.add({"compare-no-common-digest", Verdict::cant_say,
                         fmt::format("{} of the same size: the two indexes give no digest of the same kind",
                                     plural(unknown, "file")),
                         "index", "indexes"});
    a.verdict_matters = unknown > 0;
    for (const Difference d :
         {Difference::added, Difference::changed, Difference::gone, Difference::equal, Difference::unknown})
        a.data[d == Difference::unknown ? "cant_say" : words(d)] =
            json::object{{"files", sums[at(d)].files}, {"bytes", sums[at(d)].bytes}};
    a.data["before"] = asked.before;
    a.data["after"] = asked.after;
    a.data["files"] = std::move(files);
    return a;
}

Answer verified(const shelf::Verified& v) {
    Answer a;
    json::array damage;
    for (const auto& d : v.damage) {
        const std::string where = fmt::format("{} {}: {}", d.family, printable(d.release), printable(d.path));
        std::string text = d.code == "object-missing" ? "its bytes are gone from the shelf" : "its bytes are damaged";
        if (d.code == "object-rests-on-damaged")
            text = fmt::format("is kept as a difference to {}, which cannot be read; its own bytes are whole",
                               printable(d.rests_on));
        a.judgement.add({d.code, Verdict::halt, text + "; adding that package again mends it", where, "digests"});
        damage.push_back(json::object{{"family", d.family},
                                      {"release", d.release},
                                      {"path", d.path},
                                      {"code", d.code},
                                      {"rests_on", d.rests_on}});
    }
    a.headline =
        v.damage.empty()
            ? fmt::format("The shelf is good: {}, {}, {} read and held against their digests.",
                          plural(v.releases, "release"), plural(v.files, "file"), human_bytes(v.bytes))
            : fmt::format("{} of {} on the shelf cannot be given back.", plural(v.damage.size(), "file"), v.files);
    if (v.damage.empty())
        a.judgement.add(
            {"shelf-whole", Verdict::fit, "every stored byte is what its digest says", "the shelf", "digests"});
    a.data = {{"releases", v.releases}, {"files", v.files},         {"contents", v.contents},
              {"bytes", v.bytes},       {"good", v.damage.empty()}, {"damage", std::move(damage)}};
    return a;
}

Answer restored(const shelf::Restored& r, const workshop::RestoreRequest& asked) {
    Answer a;
    a.headline = fmt::format("Restored {} to {}: {}, {}.", printable(asked.release), printable(asked.folder),
                             plural(r.files, "file"), human_bytes(r.bytes));
    a.text = fmt::format("  sha256 {} over its sorted sha256sum lines, as at intake\n", r.content_sha256);
    a.judgement.add({"restored-whole", Verdict::fit, "every file is what it was at intake, and all together are",
                     printable(asked.folder), "digests recorded at intake"});
    a.data = {{"release", asked.release},
              {"folder", asked.folder},
              {"files", r.files},
              {"bytes", r.bytes},
              {"content_sha256", r.content_sha256}};
    return a;
}

Answer removed(const workshop::Removed& r) {
    Answer a;
    a.verdict_matters = false;
    a.headline = fmt::format("{} {} is off the shelf; no other release is touched.", r.family, printable(r.release));
    a.text = "  ";
    a.text += propose(Act::tidy_shelf);
    a.text += " gives its space back\n";
    a.data = {{"family", r.family}, {"release", r.release}, {"removed", true}};
    return a;
}

Answer tidied(const shelf::Tidied& t) {
    Answer a;
    a.verdict_matters = false;
    const std::uint64_t back = t.bytes_before > t.bytes_after ? t.bytes_before - t.bytes_after : 0;
    a.headline =
        back > 0 ? fmt::format("{} given back; the shelf takes {} now.", human_bytes(back), human_bytes(t.bytes_after))
                 : fmt::format("Nothing to give back; the shelf takes {}.", human_bytes(t.bytes_after));
    a.data = {{"bytes_before", t.bytes_before},
              {"bytes_after", t.bytes_after},
              {"parts_moved", t.parts_moved},
              {"parts_rebuilt", t.parts_rebuilt}};
    return a;
}

}  // namespace fettle::show
