#include "cmd_shelf_care.h"

#include <fmt/core.h>

#include <array>
#include <system_error>

#include "fettle/base/json.h"
#include "fettle/base/text.h"
#include "fettle/shelf/shelf.h"

namespace fettle::app {
namespace {

using shelf::Difference;
using shelf::Shelf;

// A look at a shelf that is not there must not make one.
Result<Shelf> open_shelf(const Context& context, const std::string& release) {
    std::error_code ec;
    if (!std::filesystem::exists(context.shelf_folder() / "catalogue.sqlite", ec))
        return bad_input("release-not-shelved", release.empty() ? "the shelf" : "release " + printable(release),
                         "is not on the shelf, which is empty",
                         "add its package: fettle shelf add PATH --from TEXT --right WORD");
    return Shelf::open(context.shelf_folder());
}

std::string plural(std::uint64_t n, std::string_view one) {
    return fmt::format("{} {}{}", n, one, n == 1 ? "" : "s");
}

}  // namespace

Result<Answer> shelf_compare(const Context& context, const ShelfCompareOptions& o) {
    auto opened = open_shelf(context, o.before);
    if (!opened) return pass(opened);
    const auto compared = opened->compare(o.family, o.before, o.after);
    if (!compared) return pass(compared);
    struct Sum {
        std::uint64_t files = 0, bytes = 0;
    };
    std::array<Sum, 5> sums{};
    Answer a;
    json::array files;
    for (const auto& f : compared->files) {
        Sum& sum = sums[static_cast<std::size_t>(f.difference)];
        ++sum.files;
        sum.bytes += f.difference == Difference::gone ? f.bytes_before : f.bytes_after;
        if (f.difference == Difference::equal && !o.all) continue;
        const std::string where = f.box.empty() ? printable(f.after.empty() ? f.before : f.after)
                                                : fmt::format("{} {}", f.box, printable(f.piece));
        std::string sizes = human_bytes(f.difference == Difference::gone ? f.bytes_before : f.bytes_after);
        if (f.difference == Difference::changed && f.bytes_before != f.bytes_after)
            sizes = fmt::format("{}, was {}", sizes, human_bytes(f.bytes_before));
        a.text += fmt::format("  {:<9} {}  {}\n", words(f.difference), where, sizes);
        files.push_back(
            json::object{{"difference", f.difference == Difference::unknown ? "cant-say" : words(f.difference)},
                         {"box", f.box},
                         {"piece", f.piece},
                         {"before", f.before},
                         {"after", f.after},
                         {"bytes_before", f.bytes_before},
                         {"bytes_after", f.bytes_after}});
    }
    const auto at = [&](Difference d) { return sums[static_cast<std::size_t>(d)]; };
    a.headline = fmt::format(
        "From {} to {}: {} added ({}), {} changed ({}), {} gone ({}), {} equal ({}).", printable(o.before),
        printable(o.after), at(Difference::added).files, human_bytes(at(Difference::added).bytes),
        at(Difference::changed).files, human_bytes(at(Difference::changed).bytes), at(Difference::gone).files,
        human_bytes(at(Difference::gone).bytes), at(Difference::equal).files, human_bytes(at(Difference::equal).bytes));
    if (at(Difference::unknown).files > 0)
        a.judgement.add({"compare-no-common-digest", Verdict::cant_say,
                         fmt::format("{} of the same size: the two indexes give no digest of the same kind",
                                     plural(at(Difference::unknown).files, "file")),
                         "index", "indexes"});
    a.verdict_matters = at(Difference::unknown).files > 0;
    for (const Difference d :
         {Difference::added, Difference::changed, Difference::gone, Difference::equal, Difference::unknown})
        a.data[d == Difference::unknown ? "cant_say" : words(d)] =
            json::object{{"files", at(d).files}, {"bytes", at(d).bytes}};
    a.data["before"] = o.before;
    a.data["after"] = o.after;
    a.data["files"] = std::move(files);
    return a;
}

Result<Answer> shelf_verify(const Context& context, const ShelfVerifyOptions& o) {
    auto opened = open_shelf(context, o.release);
    if (!opened) return pass(opened);
    const auto v = opened->verify(o.family, o.release, *context.clock, context.progress);
    if (!v) return pass(v);
    Answer a;
    json::array damage;
    for (const auto& d : v->damage) {
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
        v->damage.empty()
            ? fmt::format("The shelf is good: {}, {}, {} read and held against their digests.",
                          plural(v->releases, "release"), plural(v->files, "file"), human_bytes(v->bytes))
            : fmt::format("{} of {} on the shelf cannot be given back.", plural(v->damage.size(), "file"), v->files);
    if (v->damage.empty())
        a.judgement.add(
            {"shelf-whole", Verdict::fit, "every stored byte is what its digest says", "the shelf", "digests"});
    a.data = {{"releases", v->releases}, {"files", v->files},         {"contents", v->contents},
              {"bytes", v->bytes},       {"good", v->damage.empty()}, {"damage", std::move(damage)}};
    return a;
}

Result<Answer> shelf_restore(const Context& context, const ShelfRestoreOptions& o) {
    auto opened = open_shelf(context, o.release);
    if (!opened) return pass(opened);
    const auto r = opened->restore(o.family, o.release, o.folder, context.progress);
    if (!r) return pass(r);
    Answer a;
    a.headline = fmt::format("Restored {} to {}: {}, {}.", printable(o.release), printable(o.folder),
                             plural(r->files, "file"), human_bytes(r->bytes));
    a.text = fmt::format("  sha256 {} over its sorted sha256sum lines, as at intake\n", r->content_sha256);
    a.judgement.add({"restored-whole", Verdict::fit, "every file is what it was at intake, and all together are",
                     printable(o.folder), "digests recorded at intake"});
    a.data = {{"release", o.release},
              {"folder", o.folder},
              {"files", r->files},
              {"bytes", r->bytes},
              {"content_sha256", r->content_sha256}};
    return a;
}

Result<Answer> shelf_remove(const Context& context, const ShelfRemoveOptions& o) {
    auto opened = open_shelf(context, o.release);
    if (!opened) return pass(opened);
    auto found = opened->find(o.family, o.release);
    if (!found) return pass(found);
    if (auto ok = opened->remove(found->family, found->release.release); !ok) return pass(ok);
    Answer a;
    a.verdict_matters = false;
    a.headline = fmt::format("{} {} is off the shelf; no other release is touched.", found->family,
                             printable(found->release.release));
    a.text = "  fettle shelf tidy gives its space back\n";
    a.data = {{"family", found->family}, {"release", found->release.release}, {"removed", true}};
    return a;
}

Result<Answer> shelf_tidy(const Context& context) {
    auto opened = open_shelf(context, "");
    if (!opened) return pass(opened);
    const auto t = opened->tidy(context.progress);
    if (!t) return pass(t);
    Answer a;
    a.verdict_matters = false;
    const std::uint64_t back = t->bytes_before > t->bytes_after ? t->bytes_before - t->bytes_after : 0;
    a.headline =
        back > 0 ? fmt::format("{} given back; the shelf takes {} now.", human_bytes(back), human_bytes(t->bytes_after))
                 : fmt::format("Nothing to give back; the shelf takes {}.", human_bytes(t->bytes_after));
    a.data = {{"bytes_before", t->bytes_before},
              {"bytes_after", t->bytes_after},
              {"parts_moved", t->parts_moved},
              {"parts_rebuilt", t->parts_rebuilt}};
    return a;
}

}  // namespace fettle::app
