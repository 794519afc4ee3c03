// The card as the box would see it. First the index is found (at its place, or one folder deeper), then what should
// stand on the card is listed, looked up, digested; what is left over is foreign.
#include "fettle/card/audit_content.h"

#include <fmt/core.h>

#include <algorithm>
#include <map>
#include <set>

#include "fettle/base/text.h"
#include "fettle/card/fat_names.h"
#include "fettle/card/lay.h"

namespace fettle::card {
namespace {

constexpr std::uint64_t fat_largest_file = 0xFFFFFFFF;
constexpr std::size_t most_asked = 200;  // wanted files by which a shifted place is looked for

void list_wanted(ContentAudit& c) {
    const auto* r = c.s.request.release;
    const std::string index = c.index_path();
    if (r) c.want_pieces(*r);
    if (!index.empty() && !c.further_card_without_index()) {
        Wanted w;
        w.path = index;
        w.words = "the index";
        w.is_index = true;
        if (r && !r->index_sha256.empty()) w.digests["sha256"] = r->index_sha256;
        c.wanted.insert(c.wanted.begin(), std::move(w));
        c.has_index = true;
    }
}

// Under which folder most of what is wanted stands: "" where it should.
void find_shift(ContentAudit& c) {
    std::map<std::string, std::size_t> counts;
    const std::size_t step = c.wanted.size() / most_asked + 1;
    for (std::size_t i = 0; i < c.wanted.size(); i += step)
        for (const auto& p : c.look.prefixes(c.wanted[i].path)) ++counts[p];
    std::size_t most = 0;
    for (const auto& [prefix, n] : counts)  // "" comes first: a tie is for the right place
        if (n > most) {
            most = n;
            c.shift = prefix;
        }
    c.none_there = most == 0;
    if (c.shift.empty()) return;
    // Show the folder's own letters, not the key's.
    std::string shown = c.shift.substr(0, c.shift.size() - 1);
    if (const Node* n = c.look.at(shown)) shown = n->path;
    c.s.add("one-folder-too-deep", Verdict::halt,
            fmt::format(
                "The whole release sits under {} extra folder, '{}'; the box looks for '{}' at the top of the card. "
                "Lay the card again from the release.",
                std::count(c.shift.begin(), c.shift.end(), '/') == 1 ? "one" : "more than one", printable(shown),
                printable(c.wanted.front().path)),
            shown, by_family);
}

// A file that FAT cannot hold, or that lies so near its border that readers stumble.
void judge_4_gib(ContentAudit& c, const Wanted& w, const Node& n) {
    if (c.volume.read_as() == FatType::exfat) return;
    if (w.size_known && w.size > fat_largest_file)
        c.s.add(
            "file-at-4-gib", Verdict::halt,
            fmt::format("{} ('{}') has {} bytes in the release; FAT holds no file of more than 4,294,967,295, so it "
                        "cannot be whole on this card. It needs exFAT, if the box takes that.",
                        w.words, printable(n.path), w.size),
            n.path, "FAT specification 1.03, DIR_FileSize");
    else if (n.size > fat_largest_file - c.volume.boot().cluster_bytes())
        c.s.add("file-at-4-gib", Verdict::mind,
                fmt::format("{} ('{}') ends within one cluster of the 4 GiB border; readers that count in 32 bits "
                            "stumble there. Ask the release's source whether that is meant.",
                            w.words, printable(n.path)),
                n.path, "FAT specification 1.03, DIR_FileSize");
}

// Files under the name of a second copy: the box does not know them by it.
void judge_copies(ContentAudit& c, std::vector<std::string>& missing) {
    std::map<std::string, const Node*> copies;  // key of the path without the marks
    for (const auto& n : c.listing.nodes) {
        if (n.folder || c.is_matched(n)) continue;
        const std::string plain = without_copy_marks(n.path);
        if (plain != n.path) copies.try_emplace(name_key(plain), &n);
    }
    std::erase_if(missing, [&](const std::string& path) {
        const auto it = copies.find(name_key(c.shift + path));
        if (it == copies.end()) return false;
        c.match(*it->second);
        c.s.add(
            "copy-name", Verdict::halt,
            fmt::format("'{}' stands on the card as '{}', the name that a browser or desktop gives to a second copy; "
                        "the box does not know it by that. Lay the card from the release.",
                        printable(path), printable(it->second->path)),
            it->second->path, "common practice");
        return true;
    });
}

void report_missing(ContentAudit& c, const std::vector<std::string>& missing) {
    if (missing.empty()) return;
    const bool index_gone = c.has_index && missing.front() == c.index_path();
    const auto* rule = c.s.rule();
    if (index_gone && rule && rule->in_turn.most > 1 && !rule->in_turn.index_on_every && !c.s.request.release)
        return c.s.add("which-card-unknown", Verdict::cant_say,
                       "No index stands on this card. It may be a further card of a release, since only the first has "
                       "the index: name the release.",
                       c.index_path(), by_family);
    if (c.none_there) {
        for (const auto& n : c.listing.nodes) {
            if (n.folder || c.is_matched(n)) continue;
            if (const auto kind = c.archive_of(n); !kind.empty()) {
                c.archives_said = true;
                c.s.add("archive-unopened", Verdict::halt,
                        fmt::format(
                            "'{}' is an archive ({}) that was copied unopened; the box looks for '{}' at the top of "
                            "the card. Lay the card from the release.",
                            printable(n.path), kind, printable(c.wanted.front().path)),
                        n.path, by_family);
            }
        }
    }
    if (index_gone && !c.archives_said)
        c.s.add("index-missing", Verdict::halt,
                fmt::format("The box looks for '{}' on the card, and it is not there{}. Lay the card from the release.",
                            printable(c.index_path()), c.none_there ? ", nor is anything else of a release" : ""),
                c.index_path(), by_family);
    std::vector<std::string> pieces;
    for (const auto& m : missing)
        if (!(c.has_index && m == c.index_path())) pieces.push_back(m);
    if (!pieces.empty() && !c.none_there) c.s.list("file-missing", pieces);
    if (!pieces.empty() && !c.none_there)
        c.s.add("file-missing", Verdict::halt,
                fmt::format("{} {} not on the card, and the release names {}. Lay the card again.", some_names(pieces),
                            pieces.size() == 1 ? "is" : "are", pieces.size() == 1 ? "it" : "them"),
                pieces.front(), "index");
}

// What the release itself is held against, a file that it does not name and that the family tolerates is not: for that
// only limits count that the family file states.
void judge_limits(ContentAudit& c) {
    const auto* rule = c.s.rule();
    if (!rule) return;
    static const family::CardRule unstated;
    const bool strict = rule->foreign == "refused";
    std::vector<std::string> long_paths, large;
    for (const auto& n : c.listing.nodes) {
        if (n.folder) continue;
        const bool ours = strict || c.is_matched(n);
        const auto wide = to_utf16(n.path);
        if ((wide ? wide->size() : n.path.size()) > rule->longest_path &&
            (ours || rule->longest_path != unstated.longest_path))
            long_paths.push_back(n.path);
        if (n.size > rule->largest_file && (ours || rule->largest_file != unstated.largest_file))
            large.push_back(n.path);
    }
    if (!long_paths.empty()) c.s.list("path-too-long-on-card", long_paths);
    if (!large.empty()) c.s.list("file-too-large-on-card", large);
    if (!long_paths.empty())
        c.s.add("path-too-long-on-card", Verdict::halt,
                fmt::format("{} is longer than the {} characters that {} takes. Lay the card again.",
                            some_names(long_paths), rule->longest_path, c.family()->id),
                long_paths.front(), by_family);
    if (!large.empty())
        c.s.add("file-too-large-on-card", Verdict::halt,
                fmt::format("{} is larger than the {} bytes that {} takes. Ask the release's source.",
                            some_names(large), rule->largest_file, c.family()->id),
                large.front(), by_family);
}

void look_up(ContentAudit& c) {
    std::vector<std::string> missing, wrong_case;
    for (auto& w : c.wanted) {
        const Node* n = c.found(w.path);
        if (n == nullptr || n->folder) {
            missing.push_back(w.path);
            continue;
        }
        w.node = n;
        c.match(*n);
        if (!n->path.ends_with(w.path)) wrong_case.push_back(n->path);
        judge_4_gib(c, w, *n);
        if (w.size_known && n->size != w.size)
            c.s.add("file-size-differs", Verdict::halt,
                    fmt::format("{} ('{}') has {} bytes, the index says {}. Lay the card again.", w.words,
                                printable(n->path), n->size, w.size),
                    n->path, "index");
        else if (!n->whole)
            c.s.add("file-broken-on-card", Verdict::halt,
                    fmt::format("{} ('{}') is broken on the card: its clusters do not hold it. Lay the card again.",
                                w.words, printable(n->path)),
                    n->path, c.volume.read_as() == FatType::exfat ? "FAT and bitmap" : "FAT");
    }
    if (c.has_index && !c.wanted.empty() && c.wanted.front().node && c.wanted.front().digests.empty()) {
        c.wanted.front().right = c.index_bytes.has_value();  // nothing to hold it against but its signature
        c.index_only_signed = true;
    }
    judge_copies(c, missing);
    report_missing(c, missing);
    if (!wrong_case.empty()) c.s.list("wrong-case", wrong_case);
    if (!wrong_case.empty())
        c.s.add(
            "wrong-case", Verdict::mind,
            fmt::format("{} {} in upper and lower case from what the index names; FAT does not mind, a box may. Lay "
                        "the card again if the box refuses it.",
                        some_names(wrong_case), wrong_case.size() == 1 ? "differs" : "differ"),
            wrong_case.front(), "index");
    judge_limits(c);
}

void without_family(ContentAudit& c) {
    for (const auto& n : c.listing.nodes) {
        if (n.path.find('/') != std::string::npos) continue;
        if (const auto whose = leftover_of(n.path); !whose.empty())
            c.s.add("desktop-leftover", Verdict::mind,
                    fmt::format("'{}' was left on the card by {}; a box that lists the top strictly would stumble on "
                                "it. Lay it again.",
                                printable(n.path), whose),
                    n.path, "common practice");
        else if (!n.folder)
            if (const auto kind = c.archive_of(n); !kind.empty())
                c.s.add("archive-on-card", Verdict::mind,
                        fmt::format("'{}' is an archive ({}); boxes do not open archives as a rule. Name the family.",
                                    printable(n.path), kind),
                        n.path, "common practice");
    }
    if (c.s.request.family) {
        c.s.add("index-not-known", Verdict::cant_say,
                "The family file does not say how an index is read: which files belong here and whether they are whole "
                "was not checked. Hold the card against what it was laid from.",
                c.s.request.family->id, "family file", Next{"name its folder: ", with(wanted("release", "./FOLDER"))});
        c.s.out.not_checked.emplace_back("index, files and digests: the family file has no [package]");
        return;
    }
    c.s.add("family-not-named", Verdict::cant_say,
            "Which box this card is for was not said: where the index must stand, which files belong here and whether "
            "they are whole was not checked. Name the family.",
            "", "no family named", Next(with(wanted("family", "ID"))));
    c.s.out.not_checked.emplace_back("index, files and digests: no family was named");
}

}  // namespace

std::string ContentAudit::index_path() const {
    if (s.rule()) return s.rule()->index_at;
    return s.request.release ? s.request.release->index_path : std::string();
}

void ContentAudit::want_pieces(const family::Release& r) {
    const auto here = choose_card(*this, r);
    const std::set<std::string> on_this(here.begin(), here.end());
    for (const auto& p : r.pieces)
        for (const auto& f : p.files) {
            if (!on_this.contains(f.path)) continue;
            Wanted w;
            w.path = on_card(f.path);
            w.words = p.box.empty() ? fmt::format("file '{}'", printable(p.name))
                                    : fmt::format("piece '{}' of the {} box", printable(p.name), printable(p.box));
            w.size = f.size;
            w.size_known = f.sized;
            w.digests = f.digests;
            wanted.push_back(std::move(w));
        }
}

std::string_view ContentAudit::archive_of(const Node& n) {
    if (n.size == 0 || n.first_cluster == 0) return {};
    Node head = n;
    head.size = std::min<std::uint64_t>(n.size, 512);
    head.valid = std::min(head.size, n.valid);
    Bytes bytes;
    const Status read = volume.read(head, [&](ByteView b) -> Status {
        append(bytes, b);
        return {};
    });
    return read ? archive_kind(bytes) : std::string_view{};
}

void audit_content(AuditState& s, Volume& volume, const Listing& listing) {
    ContentAudit c{s, volume, listing, Lookup(listing), std::vector<bool>(listing.nodes.size()), {}};
    for (const auto& n : listing.nodes) s.out.files += n.folder ? 0 : 1;
    const bool index_known = s.request.family && s.request.family->package;
    if (!index_known && s.request.release == nullptr) return without_family(c);
    if (s.request.family) c.prefix = card_prefix(*s.request.family);
    list_wanted(c);
    find_shift(c);
    audit_index(c);
    look_up(c);
    audit_digests(s, volume, c.wanted);
    audit_mixed(c);
    audit_signature(c);
    for (const auto& w : c.wanted) s.out.files_matched += w.right ? 1 : 0;
    s.out.files_wanted = c.wanted.size();
    audit_foreign(c);
}

}  // namespace fettle::card
