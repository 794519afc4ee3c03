#include "cmd_shelf.h"

#include <fmt/core.h>

#include <algorithm>
#include <set>
#include <system_error>

#include "cmd_identity.h"
#include "fettle/base/json.h"
#include "fettle/base/text.h"
#include "fettle/shelf/cyclonedx.h"
#include "fettle/shelf/package.h"
#include "fettle/shelf/shelf.h"
#include "fettle/workshop/store.h"

namespace fettle::app {
namespace {

using shelf::Outline;
using shelf::Shelf;
using shelf::Shelved;

std::string day(UnixMs t) {
    return iso8601(t).substr(0, 10);
}

// An answer to a look must not make a shelf where there is none.
bool shelf_exists(const Context& context) {
    std::error_code ec;
    return std::filesystem::exists(context.shelf_folder() / "catalogue.sqlite", ec);
}

json::object release_json(const Outline& s) {
    json::array markets, cures;
    for (const std::string& m : s.release.markets) markets.emplace_back(m);
    for (const std::string& c : s.release.cures) cures.emplace_back(c);
    return {{"family", s.family},
            {"release", s.release.release},
            {"index_only", s.index_only},
            {"signature", shelf::words(s.signature)},
            {"pieces", s.pieces},
            {"bytes", s.bytes},
            {"markets", std::move(markets)},
            {"installs_from", s.release.installs_from},
            {"counter", s.release.counter ? json::value(*s.release.counter) : json::value(nullptr)},
            {"one_way_door", s.release.one_way_door},
            {"cures", std::move(cures)},
            {"index_sha256", s.release.index_sha256},
            {"added_at", iso8601(s.added_at)},
            {"verified_at", s.verified_at > 0 ? json::value(iso8601(s.verified_at)) : json::value(nullptr)},
            {"verified_good", s.verified_at > 0 ? json::value(s.verified_good) : json::value(nullptr)},
            {"slip", json::object{{"from", s.slip.from},
                                  {"right", words(s.slip.right)},
                                  {"at", iso8601(s.slip.at)},
                                  {"path", s.slip.source_path},
                                  {"package_sha256", s.slip.package_sha256},
                                  {"content_sha256", s.slip.content_sha256},
                                  {"also_seen_sha256", s.slip.also_seen_sha256}}}};
}

// Also opens the package, when it has to be looked at for that.
Result<family::Family> family_for(const Context& context, const ShelfAddOptions& options,
                                  std::shared_ptr<shelf::Package>& package) {
    if (!options.family.empty()) return load_family_by_id(context, options.family);
    auto all = load_families(context);
    if (!all) return pass(all);
    std::erase_if(*all, [](const family::Family& f) { return !f.package; });
    std::error_code ec;
    if (!options.index_only || !std::filesystem::exists(options.package, ec)) {
        auto opened = shelf::open_for(*all, options.package);
        if (!opened) return pass(opened);  // what is wrong with it comes before whose it is
        package = std::move(*opened);
    }
    const auto named = package && !options.index_only
                           ? shelf::named_families(*all, *package, context.clock->now())
                           : shelf::families_of_index(*all, options.package, context.clock->now());
    for (family::Family& f : *all)
        if (named.size() == 1 ? f.id == named.front() : all->size() == 1) return std::move(f);
    std::vector<std::string> ids;
    std::set<std::string> indexes;
    for (const family::Family& f : *all) {
        ids.push_back(f.id);
        indexes.insert(f.package->index);
    }
    return bad_input(
        "family-not-told", options.package,
        "which family it is for can't be told: no index stands where one of theirs would, or no signature and no "
        "name in it settles which (looked for: " +
            join({indexes.begin(), indexes.end()}, ", ") + ")",
        "say which with --family: " + join(ids, ", "));
}

// The newest by the family's own order; empty when there is none or some version has no place in it.
std::string newest(const family::Family* family, const std::vector<const Outline*>& releases) {
    std::string best;
    for (const Outline* s : releases) {
        if (best.empty()) {
            best = s->release.release;
            continue;
        }
        const auto order = family ? family::compare_versions(family->order, s->release.release, best) : std::nullopt;
        if (!order) return "";
        if (*order > 0) best = s->release.release;
    }
    return best;
}

std::string release_line(const Outline& s) {
    return fmt::format("  {:<12} {}  {:>10}  {:<9}  {:<14} {}\n", s.release.release, day(s.added_at),
                       s.index_only ? "index only" : human_bytes(s.bytes),
                       s.signature == shelf::SignatureState::good ? "signed" : "unsigned", words(s.slip.right),
                       s.slip.from);
}

Result<Outline> outline_of(const Shelf& shelf, const Shelved& s) {
    auto all = shelf.outlines(s.family);
    if (!all) return pass(all);
    for (Outline& o : *all)
        if (o.release.release == s.release.release) return std::move(o);
    return outside_error("shelf-damaged", s.release.release, "went from the catalogue just now", "try again");
}

Result<Answer> refused_list(const Shelf& shelf) {
    auto all = shelf.refusals();
    if (!all) return pass(all);
    Answer a;
    a.verdict_matters = false;
    a.headline = all->empty() ? "Nothing was refused." : fmt::format("{} refused; none of it was kept.", all->size());
    json::array list;
    for (const shelf::Refusal& r : *all) {
        a.text += fmt::format("  {}  {:<8} {}, from {}: {}\n", day(r.at), r.family, r.source_path, printable(r.from),
                              join(r.codes, ", "));
        json::array codes;
        for (const std::string& c : r.codes) codes.emplace_back(c);
        list.push_back(json::object{{"at", iso8601(r.at)},
                                    {"family", r.family},
                                    {"path", r.source_path},
                                    {"from", r.from},
                                    {"codes", std::move(codes)}});
    }
    a.data["refusals"] = std::move(list);
    a.data["releases"] = json::array();
    a.data["newest_known"] = json::array();
    return a;
}

// Keeps what has something for each of the boxes; the family is the one the plates are of.
Status keep_fitting(const Context& context, const ShelfListOptions& o, std::vector<Outline>& all, Judgement& j) {
    workshop::IdentifyRequest who;
    who.plates = o.fits;
    who.family = o.family;
    auto unit = workshop::identified(context, who);
    if (!unit) return pass(unit);
    if (!unit->family) {
        j = unit->identity.judgement;
        all.clear();
        return {};
    }
    std::erase_if(all, [&](const Outline& s) {
        if (s.family != unit->family->id) return true;
        return std::any_of(unit->identity.boxes.begin(), unit->identity.boxes.end(), [&](const auto& box) {
            const auto issue = box.fields.find("issue");
            return !s.for_box(box.role, issue == box.fields.end() ? std::string() : issue->second);
        });
    });
    return {};
}

}  // namespace

Result<Answer> shelf_add(const Context& context, const ShelfAddOptions& options) {
    auto right = shelf::right_from(options.right);
    if (!right) return pass(right);
    shelf::AddRequest request;
    auto family = family_for(context, options, request.opened);
    if (!family) return pass(family);
    auto opened = Shelf::open(context.shelf_folder());
    if (!opened) return pass(opened);

    request.package = options.package;
    request.index_only = options.index_only;
    request.slip.from = options.from;
    request.slip.right = *right;
    request.slip.also_seen_sha256 = options.also_seen;
    shelf::Vetting refusal;
    auto added = opened->add(*family, request, *context.clock, context.progress, &refusal);
    Answer answer;
    answer.level = family->level;
    if (!added) {
        // A person gets one message with every finding; a program gets the findings one by one.
        if (added.error().code != "package-refused" || !context.json) return pass(added);
        const auto halts = std::count_if(refusal.judgement.reasons.begin(), refusal.judgement.reasons.end(),
                                         [](const Reason& r) { return r.verdict == Verdict::halt; });
        answer.headline = fmt::format("{} is not shelved, {} finding{} against it; nothing was kept.", options.package,
                                      halts, halts == 1 ? "" : "s");
        answer.judgement = refusal.judgement;
        answer.data = {{"package", options.package}, {"family", family->id}, {"shelved", false}};
        answer.bad_input = true;
        return answer;
    }
    const Shelved& s = added->shelved;
    answer.headline = added->was_there
                          ? fmt::format("{} {} was on the shelf already, byte for byte; its provenance slip was added.",
                                        s.family, s.release.release)
                          : fmt::format("On the shelf: {} {}, {}, {} files, {}.", s.family, s.release.release,
                                        s.index_only ? "index only" : "whole", added->vetting.files,
                                        human_bytes(added->vetting.bytes));
    answer.judgement = added->vetting.judgement;
    auto outline = outline_of(*opened, s);
    if (!outline) return pass(outline);
    answer.data = release_json(*outline);
    answer.data["shelved"] = true;
    answer.data["was_there"] = added->was_there;
    return answer;
}

Result<Answer> shelf_list(const Context& context, const ShelfListOptions& options) {
    Answer answer;
    answer.verdict_matters = false;
    answer.data["releases"] = json::array();
    answer.data["newest_known"] = json::array();
    answer.headline =
        options.family.empty() ? "The shelf is empty." : "Nothing of " + options.family + " is on the shelf.";
    if (!shelf_exists(context)) return answer;
    auto opened = Shelf::open(context.shelf_folder());
    if (!opened) return pass(opened);
    if (options.refused) return refused_list(*opened);
    auto all = opened->outlines(options.family);
    if (!all) return pass(all);
    if (!options.fits.empty() && !all->empty()) {
        if (auto ok = keep_fitting(context, options, *all, answer.judgement); !ok) return pass(ok);
        answer.headline = "Nothing on the shelf is for these boxes.";
        if (!answer.judgement.reasons.empty() && all->empty()) {
            answer.headline = "Which releases are for these boxes can't be told: the plates are not certain enough.";
            answer.verdict_matters = true;
        }
    }
    if (all->empty()) return answer;
    auto families = load_families(context);
    answer.headline = fmt::format("{} release{} on the shelf{}.", all->size(), all->size() == 1 ? "" : "s",
                                  options.fits.empty() ? ""
                                  : all->size() == 1   ? " is for these boxes"
                                                       : " are for these boxes");
    std::set<std::string> ids;
    for (const Outline& s : *all) ids.insert(s.family);
    for (const std::string& id : ids) {
        std::vector<const Outline*> mine;
        answer.text += id + "\n";
        for (const Outline& s : *all)
            if (s.family == id) {
                mine.push_back(&s);
                answer.text += release_line(s);
                answer.data["releases"].get_array().push_back(release_json(s));
            }
        const family::Family* family = nullptr;
        if (families)
            for (const family::Family& f : *families)
                if (f.id == id) family = &f;
        auto as_of = opened->as_of(id);
        if (!as_of) return pass(as_of);
        const std::string best = newest(family, mine);
        const std::string from = fmt::format("as of {}, from {} source{}", day(as_of->newest), as_of->sources,
                                             as_of->sources == 1 ? "" : "s");
        answer.text += best.empty() ? "  which is the newest can't be told: the order of the versions is not known\n"
                                    : fmt::format("  newest known to this shelf: {}, {}\n", best, from);
        answer.data["newest_known"].get_array().push_back(
            json::object{{"family", id},
                         {"release", best.empty() ? json::value(nullptr) : json::value(best)},
                         {"as_of", iso8601(as_of->newest)},
                         {"sources", as_of->sources}});
    }
    return answer;
}

Result<Answer> shelf_show(const Context& context, const ShelfShowOptions& options) {
    if (!shelf_exists(context))
        return bad_input("release-not-shelved", "release " + options.release, "is not on the shelf, which is empty",
                         "add its package: fettle shelf add PATH --from TEXT --right WORD");
    auto opened = Shelf::open(context.shelf_folder());
    if (!opened) return pass(opened);
    auto found = opened->find(options.family, options.release);
    if (!found) return pass(found);
    const Shelved& s = *found;
    Answer answer;
    answer.headline = fmt::format("{} {}: {} pieces, {}{}.", s.family, s.release.release, s.release.pieces.size(),
                                  human_bytes(s.release.bytes()), s.index_only ? ", index only" : "");
    // What intake said in passing, the answer to "may it be laid?" says as it is now.
    const Judgement laid = s.may_be_laid();
    for (const Reason& r : s.vetted.reasons)
        if (r.code != "right-unknown" &&
            std::none_of(laid.reasons.begin(), laid.reasons.end(), [&](const Reason& l) { return l.code == r.code; }))
            answer.judgement.add(r);
    answer.judgement.add(laid);
    if (options.cyclonedx) {
        auto family = load_family_by_id(context, s.family);
        if (!family) return pass(family);
        answer = Answer();
        answer.verdict_matters = false;
        answer.document = shelf::cyclonedx(*family, s, FETTLE_VERSION);
        return answer;
    }
    auto outline = outline_of(*opened, s);
    if (!outline) return pass(outline);
    answer.data = release_json(*outline);
    Page& t = answer.text;
    t += fmt::format("  from           {}; put on this shelf {} out of {}\n", s.slip.from, day(s.slip.at),
                     s.slip.source_path);
    t += fmt::format("  right          {}\n", words(s.slip.right));
    t += fmt::format("  signature      {}\n",
                     s.signature == shelf::SignatureState::good ? "good" : "absent: origin not proven");
    t += fmt::format("  package        sha256 {}\n", s.slip.package_sha256);
    t += fmt::format("  verified       {}\n", outline->verified_at == 0
                                                  ? "not since it came"
                                                  : fmt::format("{} on {}", outline->verified_good ? "good" : "damaged",
                                                                day(outline->verified_at)));
    t += fmt::format("  index          sha256 {}\n", s.release.index_sha256);
    t += fmt::format("  markets        {}\n", s.release.markets.empty() ? "not said" : join(s.release.markets, ", "));
    t += fmt::format("  installs from  {}\n",
                     s.release.installs_from.empty() ? "not said" : s.release.installs_from + " on");
    if (s.release.one_way_door) t += "  no way back    says the maker's index\n";
    for (const std::string& cure : s.release.cures) t += fmt::format("  cures          {}\n", cure);
    json::array pieces;
    t += "  pieces\n";
    for (const family::Piece& p : s.release.pieces) {
        t += fmt::format("    {:<8} {:<10} {:<24} {:<12} {:>10}{}\n", p.box, p.region, p.name, p.version,
                         human_bytes(p.bytes()), p.issues.empty() ? "" : "  issue " + join(p.issues, ", "));
        json::array files;
        for (const family::PieceFile& f : p.files) {
            json::object digests;
            for (const auto& [name, digest] : f.digests) digests[name] = digest;
            files.push_back(json::object{{"path", f.path}, {"bytes", f.size}, {"digests", std::move(digests)}});
        }
        pieces.push_back(json::object{{"name", p.name},
                                      {"box", p.box},
                                      {"region", p.region},
                                      {"version", p.version},
                                      {"bytes", p.bytes()},
                                      {"files", std::move(files)}});
    }
    answer.data["piece_list"] = std::move(pieces);
    return answer;
}

}  // namespace fettle::app
