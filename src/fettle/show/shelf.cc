#include "fettle/show/shelf.h"

#include <fmt/core.h>

#include <algorithm>

#include "fettle/base/json.h"
#include "fettle/base/text.h"

namespace fettle::show {
namespace {

using shelf::Outline;
using workshop::ShelfList;

std::string day(UnixMs t) {
    return iso8601(t).substr(0, 10);
}

json::object release_json(const Outline& s) {
    return {{"family", s.family},
            {"release", s.release.release},
            {"index_only", s.index_only},
            {"signature", shelf::words(s.signature)},
            {"pieces", s.pieces},
            {"bytes", s.bytes},
            {"markets", texts_as_json(s.release.markets)},
            {"installs_from", s.release.installs_from},
            {"counter", s.release.counter ? json::value(*s.release.counter) : json::value(nullptr)},
            {"one_way_door", s.release.one_way_door},
            {"cures", texts_as_json(s.release.cures)},
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

std::string release_line(const Outline& s) {
    return fmt::format("  {:<12} {}  {:>10}  {:<9}  {:<14} {}\n", s.release.release, day(s.added_at),
                       s.index_only ? "index only" : human_bytes(s.bytes),
                       s.signature == shelf::SignatureState::good ? "signed" : "unsigned", words(s.slip.right),
                       s.slip.from);
}

Answer refused_list(const std::vector<shelf::Refusal>& refused) {
    Answer a;
    a.verdict_matters = false;
    a.headline =
        refused.empty() ? "Nothing was refused." : fmt::format("{} refused; none of it was kept.", refused.size());
    json::array list;
    for (const shelf::Refusal& r : refused) {
        a.text += fmt::format("  {}  {:<8} {}, from {}: {}\n", day(r.at), r.family, r.source_path, printable(r.from),
                              join(r.codes, ", "));
        list.push_back(json::object{{"at", iso8601(r.at)},
                                    {"family", r.family},
                                    {"path", r.source_path},
                                    {"from", r.from},
                                    {"codes", texts_as_json(r.codes)}});
    }
    a.data["refusals"] = std::move(list);
    a.data["releases"] = json::array();
    a.data["newest_known"] = json::array();
    return a;
}

void headline_of_empty(const ShelfList& list, Answer& a) {
    a.headline = list.family.empty() ? "The shelf is empty." : "Nothing of " + list.family + " is on the shelf.";
    if (!list.narrowed) return;
    a.headline = "Nothing on the shelf is for these boxes.";
    if (list.unsettled.reasons.empty()) return;
    a.headline = "Which releases are for these boxes can't be told: the plates are not certain enough.";
    a.verdict_matters = true;
}

void add_family(const ShelfList::OfFamily& of, json::array& releases, json::array& newest, Page& text) {
    text += of.family + "\n";
    for (const Outline& s : of.releases) {
        text += release_line(s);
        releases.push_back(release_json(s));
    }
    text += of.newest.empty()
                ? "  which is the newest can't be told: the order of the versions is not known\n"
                : fmt::format("  newest known to this shelf: {}, as of {}, from {}\n", of.newest, day(of.as_of.newest),
                              plural(static_cast<std::uint64_t>(of.as_of.sources), "source"));
    newest.push_back(json::object{{"family", of.family},
                                  {"release", of.newest.empty() ? json::value(nullptr) : json::value(of.newest)},
                                  {"as_of", iso8601(of.as_of.newest)},
                                  {"sources", of.as_of.sources}});
}

std::string piece_line(const family::Piece& p) {
    return fmt::format("    {:<8} {:<10} {:<24} {:<12} {:>10}{}\n", p.box, p.region, p.name, p.version,
                       human_bytes(p.bytes()), p.issues.empty() ? "" : "  issue " + join(p.issues, ", "));
}

json::object piece_json(const family::Piece& p) {
    json::array files;
    for (const family::PieceFile& f : p.files) {
        json::object digests;
        for (const auto& [name, digest] : f.digests) digests[name] = digest;
        files.push_back(json::object{{"path", f.path}, {"bytes", f.size}, {"digests", std::move(digests)}});
    }
    return {{"name", p.name},       {"box", p.box},       {"region", p.region},
            {"version", p.version}, {"bytes", p.bytes()}, {"files", std::move(files)}};
}

std::string facts_of(const shelf::Shelved& s, const Outline& outline) {
    std::string t = fmt::format("  from           {}; put on this shelf {} out of {}\n", s.slip.from, day(s.slip.at),
                                s.slip.source_path);
    t += fmt::format("  right          {}\n", words(s.slip.right));
    t += fmt::format("  signature      {}\n",
                     s.signature == shelf::SignatureState::good ? "good" : "absent: origin not proven");
    t += fmt::format("  package        sha256 {}\n", s.slip.package_sha256);
    t += fmt::format("  verified       {}\n", outline.verified_at == 0
                                                  ? "not since it came"
                                                  : fmt::format("{} on {}", outline.verified_good ? "good" : "damaged",
                                                                day(outline.verified_at)));
    t += fmt::format("  index          sha256 {}\n", s.release.index_sha256);
    t += fmt::format("  markets        {}\n", s.release.markets.empty() ? "not said" : join(s.release.markets, ", "));
    t += fmt::format("  installs from  {}\n",
                     s.release.installs_from.empty() ? "not said" : s.release.installs_from + " on");
    if (s.release.one_way_door) t += "  no way back    says the maker's index\n";
    for (const std::string& cure : s.release.cures) t += fmt::format("  cures          {}\n", cure);
    return t;
}

Answer refused(const workshop::Shelving& s) {
    Answer a;
    a.level = s.level;
    const auto halts = std::count_if(s.vetting.judgement.reasons.begin(), s.vetting.judgement.reasons.end(),
                                     [](const Reason& r) { return r.verdict == Verdict::halt; });
    a.headline = fmt::format("{} is not shelved, {} against it; nothing was kept.", s.package,
                             plural(static_cast<std::uint64_t>(halts), "finding"));
    a.judgement = s.vetting.judgement;
    a.data = {{"package", s.package}, {"family", s.family}, {"shelved", false}};
    a.bad_input = true;
    return a;
}

}  // namespace

Answer shelved(const workshop::Shelving& s) {
    if (!s.release) return refused(s);
    const Outline& o = *s.release;
    Answer a;
    a.level = s.level;
    a.headline =
        s.was_there ? fmt::format("{} {} was on the shelf already, byte for byte; its provenance slip was added.",
                                  o.family, o.release.release)
                    : fmt::format("On the shelf: {} {}, {}, {} files, {}.", o.family, o.release.release,
                                  o.index_only ? "index only" : "whole", s.vetting.files, human_bytes(s.vetting.bytes));
    a.judgement = s.vetting.judgement;
    a.data = release_json(o);
    a.data["shelved"] = true;
    a.data["was_there"] = s.was_there;
    return a;
}

Answer shelf_list(const ShelfList& list) {
    if (list.refused) return refused_list(*list.refused);
    Answer a;
    a.verdict_matters = false;
    a.judgement = list.unsettled;
    json::array releases, newest;
    std::size_t all = 0;
    for (const ShelfList::OfFamily& of : list.families) {
        add_family(of, releases, newest, a.text);
        all += of.releases.size();
    }
    if (all == 0)
        headline_of_empty(list, a);
    else
        a.headline = fmt::format("{} on the shelf{}.", plural(all, "release"),
                                 !list.narrowed ? ""
                                 : all == 1     ? " is for these boxes"
                                                : " are for these boxes");
    a.data["releases"] = std::move(releases);
    a.data["newest_known"] = std::move(newest);
    return a;
}

Answer release(const workshop::ShownRelease& shown) {
    const shelf::Shelved& s = shown.shelved;
    Answer a;
    a.headline = fmt::format("{} {}: {} pieces, {}{}.", s.family, s.release.release, s.release.pieces.size(),
                             human_bytes(s.release.bytes()), s.index_only ? ", index only" : "");
    a.judgement = shown.judgement;
    a.data = release_json(shown.outline);
    a.text = facts_of(s, shown.outline) + "  pieces\n";
    json::array pieces;
    for (const family::Piece& p : s.release.pieces) {
        a.text += piece_line(p);
        pieces.push_back(piece_json(p));
    }
    a.data["piece_list"] = std::move(pieces);
    return a;
}

}  // namespace fettle::show
