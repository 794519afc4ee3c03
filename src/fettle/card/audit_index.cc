// The index on the card: what it names, whether that is what was wanted, and whether its signature holds.
#include <fmt/core.h>

#include <algorithm>
#include <map>

#include "fettle/base/digest.h"
#include "fettle/base/text.h"
#include "fettle/card/audit_content.h"
#include "fettle/family/signature.h"

namespace fettle::card {
namespace {

constexpr std::uint64_t index_most_bytes = 8u << 20;
constexpr std::size_t most_indexes = 8;  // further ones that are looked into

// Older than the newest that is known here, when no release was asked for.
void judge_stale(ContentAudit& c, const std::string& release) {
    const auto& f = *c.family();
    std::string newest = f.newest_release, whence;
    if (!newest.empty()) whence = fmt::format("the newest that the family file knows, as of {},", f.newest_as_of);
    for (const auto* other : c.s.request.others) {
        if (other->family != f.id) continue;
        const auto order =
            newest.empty() ? std::optional<int>(1) : family::compare_versions(f.order, other->release, newest);
        if (!order || *order <= 0) continue;
        newest = other->release;
        whence = "the newest on the shelf";
    }
    if (newest.empty()) return;
    const auto order = family::compare_versions(f.order, release, newest);
    if (!order || *order >= 0) return;
    c.s.add("stale-release", Verdict::mind,
            fmt::format("The card holds release {}; {} is {}. Lay that one, unless this is wanted.", printable(release),
                        whence, printable(newest)),
            c.index_path(), "version order of the family file",
            Next{"if this one is wanted: ", with(given("release", release))});
}

// The same number for other boxes: the number alone would let it pass.
void judge_markets(ContentAudit& c, const family::Release& here, const family::Release& asked,
                   const std::string& where) {
    if (here.markets.empty() || asked.markets.empty() || here.markets == asked.markets) return;
    c.s.add("other-market", Verdict::halt,
            fmt::format("The package on the card is for market {}, release {} as it was asked for is for {}. Lay the "
                        "card from the right package.",
                        printable(join(here.markets, ", ")), printable(asked.release),
                        printable(join(asked.markets, ", "))),
            where, "index");
}

void judge_asked(ContentAudit& c, const family::Release& release, const std::string& where) {
    const auto* asked = c.s.request.release;
    if (asked == nullptr) {
        c.want_pieces(release);
        return judge_stale(c, release.release);
    }
    if (release.release == asked->release) return judge_markets(c, release, *asked, where);
    const auto order = family::compare_versions(c.family()->order, release.release, asked->release);
    c.s.add("other-release", Verdict::halt,
            fmt::format("The card holds release {}, wanted is {}{}. Lay the right one.", printable(release.release),
                        printable(asked->release),
                        !order || *order == 0 ? ""
                        : *order < 0          ? ", which is newer"
                                              : ", which is older"),
            where, "index");
    // What follows would only repeat it, piece by piece: the card is looked at by its own index instead.
    c.wanted.resize(1);
    c.wanted.front().digests.clear();
    c.want_pieces(release);
}

// The box does not find it there; what it names is looked at all the same.
const Node* under_a_copy_name(const ContentAudit& c) {
    const std::string wanted = name_key(c.shift + c.index_path());
    for (const auto& n : c.listing.nodes)
        if (!n.folder)
            if (const std::string plain = without_copy_marks(n.path); plain != n.path && name_key(plain) == wanted)
                return &n;
    return nullptr;
}

// Another index elsewhere on the card, for another release.
void judge_second_index(ContentAudit& c, const family::Release& first, const Node* own) {
    std::size_t looked = 0;
    for (const Node* n : c.look.namesakes(c.index_path())) {
        if (n == own || !n->whole || looked++ == most_indexes) continue;
        const auto bytes = c.volume.read_all(*n, index_most_bytes);
        const auto other = bytes ? family::read_index(*c.family(), as_text(*bytes)) : Result<family::Release>(first);
        if (!other || other->release == first.release) continue;
        c.s.add("second-index", Verdict::mind,
                fmt::format("A second index stands at '{}', of release {}: two releases are on this card. Lay it again "
                            "with the one that is wanted.",
                            printable(n->path), printable(other->release)),
                n->path, "index");
    }
}

}  // namespace

void audit_index(ContentAudit& c) {
    if (!c.has_index) return;
    const Node* node = c.found(c.index_path());
    if (node == nullptr) node = under_a_copy_name(c);
    if (node == nullptr || node->folder || !node->whole) return;
    const auto bytes = c.volume.read_all(*node, index_most_bytes);
    if (!bytes)
        return c.s.add("index-unreadable", Verdict::halt,
                       fmt::format("The index '{}' cannot be read: {}. Lay the card again.", printable(node->path),
                                   bytes.error().problem),
                       node->path, "device");
    c.index_bytes = *bytes;
    c.s.out.index_sha256 = sha256_hex(ByteView(*c.index_bytes));
    if (!c.family() || !c.family()->package) return;
    const auto release = family::read_index(*c.family(), as_text(*c.index_bytes));
    if (!release)
        return c.s.add(
            "index-unreadable", Verdict::halt,
            fmt::format("The index '{}' is not one of {}: {}. Lay the card again; check that it is for this family.",
                        printable(node->path), c.family()->id, release.error().problem),
            node->path, by_family);
    c.s.out.release = release->release;
    c.s.out.family = release->family.empty() ? c.family()->id : release->family;
    c.s.out.markets = release->markets;
    if (!release->family.empty() && release->family != c.family()->id)
        c.s.add("other-family", Verdict::halt,
                fmt::format("The index is for '{}', the card was audited for '{}'. Take the right card.",
                            printable(release->family), c.family()->id),
                node->path, "index");
    judge_asked(c, *release, node->path);
    judge_second_index(c, *release, node);
}

namespace {

// Whether the release was asked for, or stands on the shelf: there it was vetted, so what is wrong, is wrong on the
// card.
bool is_on_shelf(const ContentAudit& c) {
    if (c.s.request.release) return true;
    return std::any_of(c.s.request.others.begin(), c.s.request.others.end(), [&](const family::Release* r) {
        return r->family == c.family()->id && (c.s.out.release.empty() || r->release == c.s.out.release);
    });
}

}  // namespace

void audit_signature(ContentAudit& c) {
    if (!c.family() || !c.family()->package || !c.index_bytes) return;
    const auto& p = *c.family()->package;
    if (p.signature_form.empty())
        return c.s.add("origin-not-proven", Verdict::mind,
                       "Packages of this family carry no signature: the card is whole by its index, its origin is not "
                       "proven. Know "
                       "where the release is from.",
                       c.index_path(), by_family);
    const std::string path = c.on_card(p.signature_file);
    const Node* n = c.found(path);
    if (n == nullptr || n->folder)
        return c.s.add(
            "signature-missing", Verdict::halt,
            fmt::format("The index's signature '{}' is not on the card. Lay the card again.", printable(path)), path,
            by_family);
    c.match(*n);
    const auto bytes = c.volume.read_all(*n, 64u << 10);
    const auto checked =
        family::check_signature(p, as_text(*c.index_bytes),
                                bytes ? std::optional(std::string(as_text(*bytes))) : std::nullopt, c.s.request.now);
    if (checked.state != family::SignatureState::good) {
        if (c.index_only_signed) c.wanted.front().right = false;
        c.s.add(
            "signature-wrong", Verdict::halt,
            fmt::format("The signature '{}' does not belong to the index on this card by the family's key: one of them "
                        "was changed. {}",
                        printable(path),
                        is_on_shelf(c) ? "The shelf has this release with a good one: lay the card again."
                                       : "Get the release again from its source."),
            path, "signature");
        if (p.signature_form == "ed25519") return;  // there is no more to say of it
    }
    for (const Reason& r : checked.reasons)
        if (r.verdict != Verdict::fit) c.s.add(r.code, r.verdict, r.text, path, r.rests_on);
}

void audit_mixed(ContentAudit& c) {
    if (c.s.request.others.empty()) return;
    const std::string own = c.s.request.release ? c.s.request.release->release : c.s.out.release;
    std::map<std::string, std::string> releases;  // digest → release
    for (const auto* other : c.s.request.others) {
        if (other->release == own || (c.family() && other->family != c.family()->id)) continue;
        for (const auto& p : other->pieces)
            for (const auto& f : p.files)
                if (const auto d = f.digests.find("sha256"); d != f.digests.end())
                    releases.emplace(d->second, other->release);
    }
    std::map<std::string, std::vector<std::string>> files;  // release → paths
    for (const auto& w : c.wanted) {
        if (w.right || w.found_sha256.empty()) continue;
        if (const auto it = releases.find(w.found_sha256); it != releases.end()) files[it->second].push_back(w.path);
    }
    for (const auto& [release, paths] : files)
        c.s.add(
            "releases-mixed", Verdict::halt,
            fmt::format("Two releases are mixed on this card: {} {} of release {}, the index is of {}. Lay the card "
                        "again from the release that is wanted.",
                        some_names(paths), paths.size() == 1 ? "is" : "are", printable(release), printable(own)),
            paths.front(), "digests of the releases on the shelf");
}

}  // namespace fettle::card
