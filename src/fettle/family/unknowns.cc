// What a family file leaves open, each with the answers that wait for it. Not a mistake: a file may be thin, and then
// says so in every answer that needed more.
#include <fmt/core.h>

#include <algorithm>

#include "fettle/base/text.h"
#include "fettle/family/load_parts.h"

namespace fettle::family {
namespace {

void open_labels(const Family& f, Log& log) {
    for (std::size_t i = 0; i < f.boxes.size(); ++i) {
        const Box& b = f.boxes[i];
        const std::string key = fmt::format("box[{}]", i + 1);
        if (b.written_by.empty())
            log.unknown(key + ".written_by", fmt::format("nothing says what writes the {} box", b.role),
                        "plan can't say whether one card serves the set");
        if (b.kind.empty())
            log.unknown(key + ".kind", fmt::format("nothing says what kind of box the {} box is", b.role),
                        "faults of this box are never cleared");
        if (!b.plate.check)
            log.unknown(key + ".plate.check", fmt::format("the {} plate has no check character", b.role),
                        "a misread plate is told from a right one by its pattern alone");
        for (const std::string& field : b.plate.likely)
            log.unknown(key + ".plate.likely", fmt::format("the meaning of field \"{}\" is only likely", field),
                        "decisions that need it stay can't say");
    }
    if (f.view.pattern.empty())
        log.unknown("view", "nothing says how the box shows its release", "the release must be read over the link");
    for (const std::string& field : f.view.likely)
        log.unknown("view.likely", fmt::format("the meaning of field \"{}\" is only likely", field),
                    "decisions that need it stay can't say");
    if (f.order.rule.empty())
        log.unknown("family.version_order", "nothing says which of two releases is newer",
                    "plan can't say what is an update and what is a way back");
    if (f.newest_release.empty())
        log.unknown("family.newest_known", "the newest release is not named",
                    "\"newest\" means the newest on the shelf only");
    if (f.boxes.size() > 1 && f.pairs.empty())
        log.unknown("pair", "nothing says which releases of the boxes go together",
                    "plan can't say whether a set may be mixed, even for a moment");
}

void open_releases(const Family& f, Log& log) {
    if (f.known.empty())
        log.unknown("release", "no release is known without its package",
                    "stepping stones and one-way doors are known from packages on the shelf only");
    for (std::size_t i = 0; i < f.known.size(); ++i)
        if (!f.known[i].counter)
            log.unknown(fmt::format("release[{}].counter", i + 1),
                        fmt::format("the rollback counter that {} leaves is not known", f.known[i].release),
                        "plan can't say whether there is a way back past it");
    if (!f.package)
        log.unknown("package", "nothing says how the maker's package index is read", "packages cannot be shelved");
    else if (f.package->signature_form.empty())
        log.unknown("package.signature", "the maker's packages are not signed, or the key is not known",
                    "a release on the shelf is \"whole, origin not proven\"");
    const auto strong = [](const std::map<std::string, std::string>& fields) {
        return fields.contains("sha256") || fields.contains("sha512");
    };
    if (f.package && f.package->form != "cyclonedx" && !strong(f.package->piece_fields) &&
        !strong(f.package->file_fields))
        log.unknown("package.piece.sha256", "the index has no SHA-256 or SHA-512 of its pieces",
                    "a piece is at best whole against accident, not against intent");
    if (!f.card)
        log.unknown("card", "nothing says which media the box takes", "cards are laid with careful defaults, mind");
    else if (f.card->table != "mbr")
        log.unknown("card.table",
                    fmt::format("the box wants table \"{}\", and Fettle lays \"mbr\" alone", f.card->table),
                    "cards are audited, and laid by other means");
}

void open_writes(const Family& f, Log& log) {
    if (f.regions.empty())
        log.unknown("region", "nothing says where pieces are written", "forecast and power-cut map can't say");
    for (std::size_t i = 0; i < f.regions.size(); ++i) {
        const Region& r = f.regions[i];
        const std::string key = fmt::format("region[{}]", i + 1);
        if (r.rate_mib_s <= 0)
            log.unknown(key + ".rate_mib_s", fmt::format("the write rate of {}/{} is not known", r.box, r.name),
                        "the forecast can't say how long its pieces take");
        if (!r.buffered_s)
            log.unknown(
                key + ".buffered_s",
                fmt::format("how long {}/{} may hold back what it reported written is not known", r.box, r.name),
                "the power-cut map explores every order since the last forced write");
    }
    if (f.script.empty())
        log.unknown("act", "the steps of a run are not known", "watch can only count time; forecast and map can't say");
    for (std::size_t i = 0; i < f.script.size(); ++i) {
        const Act& a = f.script[i];
        const std::string key = fmt::format("act[{}]", i + 1);
        const bool lasts = a.kind != ActKind::write && a.kind != ActKind::set && a.kind != ActKind::end;
        if (lasts && !a.seconds)
            log.unknown(key + ".seconds", fmt::format("how long \"{}\" lasts is not known", a.id),
                        "the forecast leaves it out and says so; lateness there can't be said");
        if (a.kind == ActKind::ask && a.control.empty())
            log.unknown(key + ".control", fmt::format("with which control \"{}\" is answered is not known", a.id),
                        "ready can't say whether that control answers; stay at the box until it ends");
        if (lasts && !a.current)
            log.unknown(key + ".current", fmt::format("the current in \"{}\" is not known", a.id),
                        "the energy budget can't say for this state");
    }
}

void open_boot(const Family& f, Log& log) {
    if (f.boot.empty()) {
        log.unknown("boot", "the boot order is not known",
                    "the power-cut map says can't say; ready, watch and mend act as if no write had a way back");
        return;
    }
    for (const Box& b : f.boxes) {
        const bool has_regions =
            std::any_of(f.regions.begin(), f.regions.end(), [&](const Region& r) { return r.box == b.role; });
        const bool has_rules =
            std::any_of(f.boot.begin(), f.boot.end(), [&](const BootRule& r) { return r.box == b.role; });
        const bool has_repair =
            std::any_of(f.bench.begin(), f.bench.end(), [&](const BenchRepair& r) { return r.box == b.role; });
        if (has_regions && !has_rules)
            log.unknown("boot", fmt::format("the boot order of the {} box is not known", b.role),
                        "the power-cut map can't say what becomes of that box");
        if (has_regions && !has_repair)
            log.unknown("bench_repair", fmt::format("no bench repair is named for the {} box", b.role),
                        "where no boot rule holds, the map says lost");
    }
}

void open_rest(const Family& f, Log& log) {
    if (!f.supply)
        log.unknown("supply", "what the set needs of its supply is not known", "ready can't say whether it lasts");
    if (!f.tally)
        log.unknown("tally", "what the box calls its counts is not known",
                    "the tally cannot be compared with what the box shows");
    if (f.messages.empty())
        log.unknown("message", "no text of the box is known", "whatever it shows is kept word for word, can't say");
    for (const Box& b : f.boxes)
        if (std::none_of(f.link.begin(), f.link.end(), [&](const LinkBox& l) { return l.role == b.role; }))
            log.unknown("link", fmt::format("the {} box has no link address", b.role),
                        "it is not read over the link: everything by taps and typed text");
    if (f.holds.empty())
        log.unknown("hold", "nothing says what must stay true during a run", "ready asks for the general holds only");
    for (const Act& a : f.script) {
        if (a.kind != ActKind::ask || a.control != "touch") continue;
        if (std::none_of(f.screens.begin(), f.screens.end(), [&](const TouchScreen& s) { return s.box == a.box; }))
            log.unknown("screen", fmt::format("where on the screen of the {} box the touches are is not known", a.box),
                        "ready draws the touch test by the words of the area only");
    }
    if (f.trials.empty())
        log.unknown("try", "nothing says what to try after a run", "prove rests on versions, tally and faults only");
}

}  // namespace

void list_unknowns(const Family& f, Log& log) {
    open_labels(f, log);
    open_releases(f, log);
    open_writes(f, log);
    open_boot(f, log);
    open_rest(f, log);
}

}  // namespace fettle::family
