#include "cmd_card.h"

#include <fmt/core.h>

#include <algorithm>
#include <charconv>
#include <memory>
#include <set>

#include "card_device.h"
#include "card_folder.h"
#include "cmd_card_device.h"
#include "fettle/base/json.h"
#include "fettle/base/text.h"
#include "fettle/card/geometry.h"
#include "fettle/card/reader.h"
#include "fettle/family/cards.h"
#include "fettle/shelf/shelf.h"

namespace fettle::app {
namespace {

using card::Audit;
using card::Laid;

// `leave_out`: what stands on other cards only.
std::vector<card::SourceFile> sources_of(std::shared_ptr<shelf::Shelf> shelf, const family::Family& family,
                                         const std::string& release, const std::vector<family::PieceFile>& files,
                                         const std::set<std::string>& leave_out) {
    std::vector<card::SourceFile> out;
    const std::string prefix = card::card_prefix(family);
    for (const auto& f : files) {
        if (leave_out.contains(f.path)) continue;
        const auto sha = f.digests.find("sha256");
        out.push_back({prefix + f.path, f.size, sha == f.digests.end() ? std::string() : sha->second,
                       [shelf, id = family.id, release, path = f.path](const card::Sink& sink) {
                           return shelf->read_for_digest(id, release, path, sink);  // laying takes it
                       }});
    }
    return out;
}

// Of a release over several cards: what does not stand on this one.
Result<std::set<std::string>> on_other_cards(const family::Family& family, const family::Release& release,
                                             const std::vector<family::PieceFile>& files, unsigned asked,
                                             unsigned& card, unsigned& cards) {
    const auto split = family::split_release(family, release);
    if (!split) return pass(split);
    cards = split->cards;
    if (asked > cards && cards > 1)
        return usage_error(
            "card-not-named", "--card",
            fmt::format("{} takes {} cards; there is no card {}", printable(release.release), cards, asked),
            fmt::format("take one of --card 1 to --card {}", cards));
    if (asked > cards || (asked == 0 && cards > 1))
        return usage_error("card-not-named", "--card",
                           cards == 1 ? fmt::format("{} takes one card", printable(release.release))
                                      : fmt::format("{} takes {} cards, one after the other; which one was not said",
                                                    printable(release.release), cards),
                           cards == 1 ? "leave --card out"
                                      : fmt::format("lay each on a card of its own: --card 1 to --card {}", cards));
    card = asked == 0 ? 1 : asked;
    std::set<std::string> out;
    if (cards == 1) return out;
    const bool index = card == 1 || family.card->in_turn.index_on_every;
    std::set<std::string> pieces;
    for (const auto& p : release.pieces)
        for (const auto& f : p.files) pieces.insert(f.path);
    for (const auto& f : files)
        if (pieces.contains(f.path) || !index) out.insert(f.path);
    for (const auto& path : family::paths_on_card(release, *split, card)) out.erase(path);
    return out;
}

std::string dd_lines(const Laid& laid, const std::string& image) {
    std::string out = "  { ";
    for (const auto& e : laid.extents)
        out += fmt::format("dd if='{}' bs=1M iflag=skip_bytes,count_bytes skip={} count={} status=none; ", image, e.at,
                           e.length);
    return out + "} | sha256sum\n";
}

std::string audit_text(const Audit& a) {
    std::string out;
    out += fmt::format("  card      {}, table {}{}\n", human_bytes(a.card_bytes), a.table,
                       a.file_system.empty() ? ", no file system known by its mark" : ", " + a.file_system);
    if (a.clusters != 0)
        out += fmt::format("  clusters  {} of {} bytes; label '{}', serial {}\n", a.clusters, a.cluster_bytes, a.label,
                           a.serial);
    if (a.cards > 1) out += fmt::format("  which     card {} of {}\n", a.card, a.cards);
    if (!a.release.empty()) out += fmt::format("  index     release {}\n", printable(a.release));
    out += fmt::format("  files     {} on the card", a.files);
    if (a.files_wanted != 0) out += fmt::format("; {} of {} wanted are right", a.files_matched, a.files_wanted);
    out += "\n";
    for (const auto& n : a.not_checked) out += "  not checked: " + n + "\n";
    return out;
}

// The family whose index stands at its place on this card, when just one does.
Result<std::optional<family::Family>> family_on_card(Context& context, card::BlockDevice& device) {
    auto volume = card::Volume::open(device);
    if (!volume) return std::optional<family::Family>();
    const auto listing = volume->list();
    if (!listing) return std::optional<family::Family>();
    auto families = load_families(context);
    if (!families) return pass(families);
    std::optional<family::Family> found;
    for (auto& f : *families) {
        if (!f.card || !f.package) continue;
        const std::string key = card::name_key(f.card->index_at);
        for (const auto& n : listing->nodes) {
            // At its place, or under one extra folder: the audit tells which.
            const std::string at = card::name_key(n.path);
            if (n.folder || !(at == key || at.ends_with("/" + key))) continue;
            const auto bytes = volume->read_all(n, 8u << 20);
            if (!bytes) continue;
            const auto release = family::read_index(f, as_text(*bytes));
            if (!release || release->family != f.id) continue;
            if (found) return std::optional<family::Family>();  // two would do: not for us to choose
            found = std::move(f);
            break;
        }
    }
    return found;
}

}  // namespace

Result<std::uint64_t> size_from(const std::string& text) {
    const auto wrong = [&] {
        return usage_error("card-size-wrong", "--size",
                           fmt::format("'{}' is no size; expected bytes or a number with K, M or G", printable(text)),
                           "give for example 512M, or leave it out");
    };
    std::uint64_t n = 0;
    const auto [end, ec] = std::from_chars(text.data(), text.data() + text.size(), n);
    if (ec != std::errc() || n == 0) return wrong();
    std::string unit(end, text.data() + text.size());
    std::transform(unit.begin(), unit.end(), unit.begin(), [](char c) { return c >= 'a' && c <= 'z' ? c - 32 : c; });
    if (unit.ends_with("IB"))
        unit.resize(unit.size() - 2);
    else if (unit.ends_with("B"))
        unit.resize(unit.size() - 1);
    int shift = 0;
    if (unit == "K")
        shift = 10;
    else if (unit == "M")
        shift = 20;
    else if (unit == "G")
        shift = 30;
    else if (!unit.empty())
        return wrong();
    if (n > (std::uint64_t{1} << 44) >> shift) return wrong();  // 16 TiB: beyond any card, and no overflow below
    return n << shift;
}

std::string card_words(unsigned card, unsigned cards) {
    return cards > 1 ? fmt::format("card {} of {} of ", card, cards) : std::string();
}

// Where the family file says nothing of cards: what most readers take.
family::CardRule careful_rule(const family::Family& family, std::uint64_t card_bytes) {
    family::CardRule rule;
    rule.cluster_kib = {4, 8, 16, 32};
    // Readers take the largest that the specification allows on any card, the smaller ones where it leaves too few.
    for (const std::uint32_t kib : {32u, 16u, 8u, 4u}) {
        if (card_bytes == 0) break;
        family::CardRule one = rule;
        one.cluster_kib = {kib};
        if (!card::plan_geometry(card_bytes, one)) continue;
        rule = std::move(one);
        break;
    }
    if (family.package) rule.index_at = family.package->index;
    return rule;
}

std::string level_of(const family::Family& family) {
    return family.level.empty() ? "L0" : family.level;
}

std::string for_words(const family::Family& family) {
    return family.id.empty() ? std::string() : " for " + family.id;
}

Reason careful_reason(const std::string& family) {
    const std::string why = family.empty() ? "No family was named" : "The family file says nothing of cards";
    return {"card-rules-not-known", Verdict::mind,
            why +
                ": laid is what most readers take (MBR, FAT32, clusters of 32 KiB or what the size leaves). Whether "
                "this box takes it is "
                "not known.",
            family, family.empty() ? "no family named" : "no [card] in the family file"};
}

std::string laid_text(const LaidCard& c) {
    const auto& g = c.laid.geometry;
    const std::string image = printable(c.image.string());
    std::string out;
    out += fmt::format("  image     {}, {}\n", image, human_bytes(g.card_sectors * card::sector_bytes));
    out += fmt::format("  layout    MBR, one {} partition from sector {}, clusters of {} bytes\n", card::words(g.type),
                       g.partition_start, g.cluster_bytes());
    std::uint64_t bytes = 0;
    for (const auto& f : c.laid.files) bytes += f.extent.length;
    if (c.cards > 1) out += fmt::format("  card      {} of {}, taken one after the other\n", c.card, c.cards);
    out += fmt::format("  files     {}, {}\n", c.laid.files.size(), human_bytes(bytes));
    out += fmt::format("  digest    sha256 {} over {} in {} stretches\n", c.laid.digest, human_bytes(c.laid.bytes),
                       c.laid.extents.size());
    out += fmt::format("  read back every written byte, {}\n",
                       c.laid.cold ? "past the system's memory" : "from memory: this place has no medium");
    out += "Repeat the digest with\n" + dd_lines(c.laid, image);
    return out;
}

Result<ReleaseToLay> release_to_lay(Context& context, const std::string& family_id, const std::string& release,
                                    bool for_job, unsigned card) {
    if (names_folder(release)) {
        if (for_job)
            return usage_error("folder-for-job", release, "is a folder; a job's card is laid from the shelf",
                               "shelve it first (fettle shelf add), or leave --job out");
        if (card > 1)
            return usage_error("card-not-named", "--card", "a folder is laid on one card", "leave --card out");
        return folder_to_lay(context, family_id, release);
    }
    auto opened = shelf::Shelf::open(context.shelf_folder());
    if (!opened) return pass(opened);
    const auto shelf = std::make_shared<shelf::Shelf>(std::move(*opened));
    auto shelved = shelf->find(family_id, release);
    if (!shelved) return pass(shelved);
    if (for_job && shelved->slip.right == shelf::Right::unknown)
        return bad_input("right-unknown", release,
                         "is on the shelf with an unknown right to use; it can be looked at but not laid for a job",
                         "shelve it again with --from and --right once that is settled");
    if (shelved->index_only)
        return bad_input("index-only", release, "is on the shelf by its index only; its files are not there",
                         "shelve the whole package first");
    auto family = load_family_by_id(context, shelved->family);
    if (!family) return pass(family);
    const bool careful = !family->card;
    if (careful) family->card = careful_rule(*family);
    const auto files = shelf->files(shelved->family, shelved->release.release);
    if (!files) return pass(files);
    unsigned number = 1, cards = 1;
    const auto elsewhere = on_other_cards(*family, shelved->release, *files, card, number, cards);
    if (!elsewhere) return pass(elsewhere);
    auto sources = sources_of(shelf, *family, shelved->release.release, *files, *elsewhere);
    return ReleaseToLay{std::move(*family),
                        shelved->release,
                        std::string(shelf::words(shelved->slip.right)),
                        std::move(sources),
                        number,
                        cards,
                        careful,
                        false,
                        {}};
}

Result<LaidCard> lay_release(Context& context, const std::string& family_id, const std::string& release,
                             const std::filesystem::path& image, std::uint64_t size_bytes, bool for_job, bool replace,
                             unsigned card) {
    auto r = release_to_lay(context, family_id, release, for_job, card);
    if (!r) return pass(r);
    if (r->careful) r->family.card = careful_rule(r->family, size_bytes);
    auto laid = card::lay_image(
        r->sources, *r->family.card, size_bytes, r->release.index_sha256, image, replace,
        [&](std::uint64_t done, std::uint64_t total) {
            if (context.progress) context.progress(done * 2 <= total ? "laying" : "reading back", done, total);
        },
        r->card);
    if (!laid) return pass(laid);
    return LaidCard{std::move(*laid), std::move(r->family), std::move(r->release), image, std::move(r->right), r->card,
                    r->cards,         r->careful,           std::move(r->remarks)};
}

json::object laid_as_json(const Laid& laid, const std::filesystem::path& image) {
    json::array extents;
    for (const auto& e : laid.extents) extents.push_back(json::object{{"at_bytes", e.at}, {"length_bytes", e.length}});
    const auto& g = laid.geometry;
    return {{"image", image.string()},
            {"size_bytes", g.card_sectors * card::sector_bytes},
            {"partition_start_sector", g.partition_start},
            {"cluster_bytes", g.cluster_bytes()},
            {"clusters", g.clusters},
            {"files", laid.files.size()},
            {"sha256", laid.digest},
            {"extents", std::move(extents)},
            {"read_back_cold", laid.cold}};
}

json::object audit_as_json(const Audit& a, const std::string& card) {
    json::array not_checked;
    for (const auto& n : a.not_checked) not_checked.push_back(json::string(n));
    return {{"card", card},
            {"size_bytes", a.card_bytes},
            {"table", a.table},
            {"file_system", a.file_system},
            {"label", a.label},
            {"serial", a.serial},
            {"cluster_bytes", a.cluster_bytes},
            {"clusters", a.clusters},
            {"files", a.files},
            {"files_wanted", a.files_wanted},
            {"files_matched", a.files_matched},
            {"bytes_read", a.bytes_read},
            {"release", a.release},
            {"index_sha256", a.index_sha256},
            {"card_number", a.card},
            {"cards", a.cards},
            {"not_checked", std::move(not_checked)}};
}

NewEntry laid_entry(const LaidCard& laid) {
    json::object data = laid_as_json(laid.laid, laid.image);
    data["release"] = laid.release.release;
    data["family"] = laid.family.id;
    data["target"] = laid.image.string();
    data["digest"] = laid.laid.digest;
    data["bytes"] = laid.laid.bytes;
    data["right"] = laid.right;
    data["card_number"] = laid.card;
    data["cards"] = laid.cards;
    return {"laid", std::move(data)};
}

NewEntry audited_entry(const Audit& audit, const std::string& card, const std::string& wanted_release) {
    json::object data = audit_as_json(audit, card);
    data["target"] = card;
    data["verdict"] = std::string(code(audit.verdict()));
    data["sentence"] = audit.sentence;
    json::array reasons;
    for (const auto& r : audit.judgement.reasons)
        reasons.push_back(json::object{{"code", r.code},
                                       {"verdict", std::string(code(r.verdict))},
                                       {"text", r.text},
                                       {"where", r.where},
                                       {"rests_on", r.rests_on}});
    data["reasons"] = std::move(reasons);
    // A further card may hold no index: what was found good against a release is of that release.
    if (audit.release.empty()) data.erase("release");
    if (audit.release.empty() && audit.verdict() <= Verdict::mind && !wanted_release.empty())
        data["release"] = wanted_release;
    return {"audited", std::move(data)};
}

Result<Answer> card_lay(Context& context, const CardLayOptions& options) {
    if (is_block_device(options.out)) return card_lay_device(context, options);
    if (!options.yes_erase.empty())
        return usage_error("erase-not-asked", "--yes-erase",
                           printable(options.out) + " is no device: nothing is erased",
                           "leave --yes-erase out, or name the card's device");
    std::uint64_t size = 0;
    if (!options.size.empty()) {
        const auto given = size_from(options.size);
        if (!given) return pass(given);
        size = *given;
    }
    const auto laid =
        lay_release(context, options.family, options.release, options.out, size, /*for_job=*/!context.job.empty(),
                    /*replace=*/false, options.card);
    if (!laid) return pass(laid);
    Answer a;
    a.headline = fmt::format("Laid {}{}{} and read every byte back.", card_words(laid->card, laid->cards),
                             printable(laid->release.release), for_words(laid->family));
    a.text = laid_text(*laid);
    a.judgement.add(Reason{"card-laid", Verdict::fit, "Every written byte reads back as it was written.",
                           printable(options.out), "digest"});
    if (laid->careful) a.judgement.add(careful_reason(laid->family.id));
    a.level = level_of(laid->family);
    a.judgement.add(laid->remarks);
    a.data = laid_as_json(laid->laid, laid->image);
    a.data["release"] = laid->release.release;
    a.data["family"] = laid->family.id;
    a.data["card_number"] = laid->card;
    a.data["cards"] = laid->cards;
    a.entries.push_back(laid_entry(*laid));
    return a;
}

Result<Answer> card_audit(Context& context, const CardAuditOptions& options) {
    const auto device = card::open_for_reading(options.card);
    if (!device) return pass(device);
    std::optional<family::Family> family;
    std::optional<family::Release> release;
    Judgement remarks;
    if (names_folder(options.release)) {
        auto folder = folder_to_audit(context, options.family, options.release);
        if (!folder) return pass(folder);
        if (!folder->family.id.empty()) family = std::move(folder->family);
        release = std::move(folder->release);
        remarks.add({"folder-not-vetted", Verdict::mind,
                     "Held against a folder as it is now; who made it, and what it claims, was not vetted.",
                     printable(options.release), "digests of the folder's files"});
    } else if (!options.release.empty()) {
        const auto shelf = shelf::Shelf::open(context.shelf_folder());
        if (!shelf) return pass(shelf);
        auto shelved = shelf->find(options.family, options.release);
        if (!shelved) return pass(shelved);
        auto own = load_family_by_id(context, shelved->family);
        if (!own) return pass(own);
        family = std::move(*own);
        release = std::move(shelved->release);
    } else if (!options.family.empty()) {
        auto named = load_family_by_id(context, options.family);
        if (!named) return pass(named);
        family = std::move(*named);
    } else {
        auto on_card = family_on_card(context, **device);
        if (!on_card) return pass(on_card);
        family = std::move(*on_card);
    }
    card::AuditRequest request;
    request.family = family ? &*family : nullptr;
    request.release = release ? &*release : nullptr;
    // The other releases on the shelf: a file that differs may be one of theirs. A shelf that cannot be read costs that
    // answer and no other.
    std::vector<shelf::Shelved> others;
    if (family && std::filesystem::exists(context.shelf_folder()))
        if (const auto shelf = shelf::Shelf::open(context.shelf_folder()))
            if (auto shelved = shelf->list(family->id)) others = std::move(*shelved);
    for (const auto& o : others) request.others.push_back(&o.release);
    request.card = options.number;
    request.now = context.clock->now();
    request.progress = [&](std::uint64_t done, std::uint64_t total) {
        if (context.progress) context.progress("auditing", done, total);
    };
    const auto audit = card::audit(**device, request);
    if (!audit) return pass(audit);
    Answer a;
    a.headline = audit->sentence;
    a.text = audit_text(*audit);
    a.judgement = audit->judgement;
    a.judgement.add(remarks);
    a.data = audit_as_json(*audit, options.card);
    a.level = family ? level_of(*family) : "L0";
    if (family && !family->card)
        a.judgement.add(
            {"card-rules-not-known", Verdict::mind,
             "The family file says nothing of cards: whether this box takes one that is laid so is not known.",
             family->id, "no [card] in the family file"});
    if (family) a.data["family"] = family->id;
    if (release) a.data["wanted_release"] = release->release;
    a.entries.push_back(audited_entry(*audit, options.card, release ? release->release : std::string()));
    return a;
}

}  // namespace fettle::app
