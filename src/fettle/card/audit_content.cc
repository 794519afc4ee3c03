// The card as the box would see it. First the index is found (at its place, or one folder deeper), then what should
// stand on the card is listed, looked up, digested; what is left over is foreign.
#include <fmt/core.h>

#include <algorithm>
#include <map>
#include <set>
#include <unordered_map>

#include "fettle/base/digest.h"
#include "fettle/base/ed25519.h"
#include "fettle/base/text.h"
#include "fettle/card/audit_parts.h"
#include "fettle/card/lay.h"

namespace fettle::card {
namespace {

constexpr std::uint64_t index_most_bytes = 16u << 20;
constexpr const char* by_family = "family file";

std::string last_part(std::string_view path) {
    return std::string(path.substr(path.rfind('/') + 1));  // npos + 1 is 0
}

// Nodes by their name as FAT compares it, and by its last part.
struct Lookup {
    std::unordered_map<std::string, const Node*> by_path;
    std::unordered_multimap<std::string, std::pair<std::string, const Node*>> by_name;  // → key of the whole path

    explicit Lookup(const Listing& listing) {
        for (const auto& n : listing.nodes) {
            const std::string key = name_key(n.path);
            by_path.try_emplace(key, &n);
            by_name.emplace(last_part(key), std::pair{key, &n});
        }
    }
    const Node* at(const std::string& path) const {
        const auto it = by_path.find(name_key(path));
        return it == by_path.end() ? nullptr : it->second;
    }
    // Path prefixes ("" or "folder/", as keys) under which a file of this path stands.
    std::vector<std::string> prefixes(const std::string& path) const {
        std::vector<std::string> out;
        const std::string key = name_key(path);
        const auto [from, to] = by_name.equal_range(last_part(key));
        for (auto it = from; it != to; ++it) {
            const auto& [whole, node] = it->second;
            if (node->folder || !whole.ends_with(key)) continue;
            const std::string prefix = whole.substr(0, whole.size() - key.size());
            if (prefix.empty() || prefix.back() == '/') out.push_back(prefix);
        }
        return out;
    }
};

class Content {
public:
    Content(AuditState& s, Volume& volume, const Listing& listing)
        : s_(s), volume_(volume), listing_(listing), look_(listing) {}

    void run() {
        for (const auto& n : listing_.nodes) s_.out.files += n.folder ? 0 : 1;
        if (s_.request.family == nullptr && s_.request.release == nullptr) return without_family();
        if (s_.request.family) card_prefix_ = card_prefix(*s_.request.family);
        list_wanted();
        find_shift();
        read_index();
        look_up();
        audit_digests(s_, volume_, wanted_);
        judge_signature();
        for (const auto& w : wanted_) s_.out.files_matched += w.right ? 1 : 0;
        s_.out.files_wanted = wanted_.size();
        judge_foreign();
    }

private:
    const family::Family* family() const { return s_.request.family; }
    std::string index_path() const {
        if (s_.rule()) return s_.rule()->index_at;
        return s_.request.release ? s_.request.release->index_path : std::string();
    }
    std::string on_card(const std::string& path) const { return card_prefix_ + path; }
    // The node of a path that the release names, where it really stands.
    const Node* found(const std::string& path) const { return look_.at(shift_ + path); }

    void want_pieces(const family::Release& r) {
        for (const auto& p : r.pieces)
            for (const auto& f : p.files)
                wanted_.push_back({on_card(f.path),
                                   fmt::format("piece '{}' of the {} box", printable(p.name), printable(p.box)), f.size,
                                   true, f.digests, nullptr, false});
    }

    void list_wanted() {
        const auto* r = s_.request.release;
        const std::string index = index_path();
        if (!index.empty()) {
            Wanted w{index, "the index", 0, false, {}, nullptr, false, true};
            if (r && !r->index_sha256.empty()) w.digests["sha256"] = r->index_sha256;
            wanted_.push_back(std::move(w));
            has_index_ = true;
        }
        if (r) want_pieces(*r);
    }

    // Under which folder most of what is wanted stands: "" where it should.
    void find_shift() {
        std::map<std::string, std::size_t> counts;
        for (const auto& w : wanted_)
            for (const auto& p : look_.prefixes(w.path)) ++counts[p];
        std::size_t most = 0;
        for (const auto& [prefix, n] : counts)  // "" comes first: a tie is for the right place
            if (n > most) {
                most = n;
                shift_ = prefix;
            }
        none_there_ = most == 0;
        if (shift_.empty()) return;
        // Show the folder's own letters, not the key's.
        std::string shown = shift_.substr(0, shift_.size() - 1);
        if (const auto it = look_.by_path.find(shown); it != look_.by_path.end()) shown = it->second->path;
        s_.add("one-folder-too-deep", Verdict::halt,
               fmt::format(
                   "The whole release sits under {} extra folder, '{}'; the box looks for '{}' at the top of the card. "
                   "Lay the card again from the release.",
                   std::count(shift_.begin(), shift_.end(), '/') == 1 ? "one" : "more than one", printable(shown),
                   printable(wanted_.front().path)),
               shown, by_family);
    }

    void read_index() {
        if (!has_index_) return;
        const Node* node = found(index_path());
        if (node == nullptr || node->folder || !node->whole) return;
        const auto bytes = volume_.read_all(*node, index_most_bytes);
        if (!bytes)
            return s_.add(
                "index-unreadable", Verdict::halt,
                fmt::format("The index '{}' cannot be read: {}.", printable(node->path), bytes.error().problem),
                node->path, "device");
        index_bytes_ = *bytes;
        s_.out.index_sha256 = sha256_hex(ByteView(*index_bytes_));
        if (!family() || !family()->package) return;
        const auto release = family::read_index(*family(), as_text(*index_bytes_));
        if (!release)
            return s_.add("index-unreadable", Verdict::halt,
                          fmt::format("The index '{}' is not one of {}: {}.", printable(node->path), family()->id,
                                      release.error().problem),
                          node->path, by_family);
        s_.out.release = release->release;
        if (!release->family.empty() && release->family != family()->id)
            s_.add("other-family", Verdict::halt,
                   fmt::format("The index is for '{}', the card was audited for '{}'.", printable(release->family),
                               family()->id),
                   node->path, "index");
        const auto* asked = s_.request.release;
        if (asked == nullptr) {
            want_pieces(*release);
        } else if (release->release != asked->release) {
            s_.add("other-release", Verdict::halt,
                   fmt::format("The card holds release {}, wanted is {}. Lay the right one.",
                               printable(release->release), printable(asked->release)),
                   node->path, "index");
            // What follows would only repeat it, piece by piece: the card is looked at by its own index instead.
            wanted_.resize(1);
            wanted_.front().digests.clear();
            want_pieces(*release);
        }
    }

    void look_up() {
        std::vector<std::string> missing, wrong_case, long_paths;
        for (auto& w : wanted_) {
            const Node* n = found(w.path);
            if (n == nullptr || n->folder) {
                missing.push_back(w.path);
                continue;
            }
            w.node = n;
            matched_.insert(n);
            if (!n->path.ends_with(w.path)) wrong_case.push_back(n->path);
            if (w.size_known && n->size != w.size)
                s_.add("file-size-differs", Verdict::halt,
                       fmt::format("{} ('{}') has {} bytes, the index says {}. Lay the card again.", w.words,
                                   printable(n->path), n->size, w.size),
                       n->path, "index");
            else if (!n->whole)
                s_.add("file-broken-on-card", Verdict::halt,
                       fmt::format("{} ('{}') is broken on the card: its clusters do not hold it. Lay the card again.",
                                   w.words, printable(n->path)),
                       n->path, "FAT");
        }
        if (has_index_ && !wanted_.empty() && wanted_.front().node && wanted_.front().digests.empty()) {
            wanted_.front().right = index_bytes_.has_value();  // nothing to hold it against but its signature
            index_only_signed_ = true;
        }
        report_missing(missing);
        if (!wrong_case.empty())
            s_.add("wrong-case", Verdict::mind,
                   fmt::format(
                       "{} differ in upper and lower case from what the index names; FAT does not mind, a box may.",
                       some_names(wrong_case)),
                   wrong_case.front(), "index");
        if (const auto* rule = s_.rule()) {
            for (const auto& n : listing_.nodes)
                if (!n.folder && n.path.size() > rule->longest_path) long_paths.push_back(n.path);
            if (!long_paths.empty())
                s_.add("path-too-long-on-card", Verdict::halt,
                       fmt::format("{} is longer than the {} characters that {} takes.", some_names(long_paths),
                                   rule->longest_path, family()->id),
                       long_paths.front(), by_family);
        }
    }

    void report_missing(const std::vector<std::string>& missing) {
        if (missing.empty()) return;
        const bool index_gone = has_index_ && missing.front() == index_path();
        if (none_there_) {
            for (const auto& n : listing_.nodes) {
                if (n.folder || matched_.contains(&n)) continue;
                if (const auto kind = kind_of(n); !kind.empty()) {
                    archives_said_ = true;
                    s_.add("archive-unopened", Verdict::halt,
                           fmt::format(
                               "'{}' is an archive ({}) that was copied unopened; the box looks for '{}' at the top of "
                               "the card. Lay the card from the release.",
                               printable(n.path), kind, printable(wanted_.front().path)),
                           n.path, by_family);
                }
            }
        }
        if (index_gone && !archives_said_)
            s_.add("index-missing", Verdict::halt,
                   fmt::format("The box looks for '{}' on the card, and it is not there{}.", printable(index_path()),
                               none_there_ ? ", nor is anything else of a release" : ""),
                   index_path(), by_family);
        std::vector<std::string> pieces;
        for (const auto& m : missing)
            if (!(has_index_ && m == index_path())) pieces.push_back(m);
        if (!pieces.empty() && !none_there_)
            s_.add(
                "file-missing", Verdict::halt,
                fmt::format("{} {} not on the card, and the release names {}. Lay the card again.", some_names(pieces),
                            pieces.size() == 1 ? "is" : "are", pieces.size() == 1 ? "it" : "them"),
                pieces.front(), "index");
    }

    void judge_signature() {
        if (!family() || !family()->package || !index_bytes_) return;
        const auto& p = *family()->package;
        if (p.signature_form.empty()) {
            s_.add(
                "origin-not-proven", Verdict::mind,
                "Packages of this family carry no signature: the card is whole by its index, its origin is not proven.",
                index_path(), by_family);
            return;
        }
        const std::string path = on_card(p.signature_file);
        const Node* n = found(path);
        if (n == nullptr || n->folder) {
            s_.add("signature-missing", Verdict::halt,
                   fmt::format("The index's signature '{}' is not on the card.", printable(path)), path, by_family);
            return;
        }
        matched_.insert(n);
        const auto signature = volume_.read_all(*n, 64u << 10);
        const auto key = unhex(p.signature_key);
        const bool good =
            signature && key && p.signature_form == "ed25519" && ed25519_verify(*key, *index_bytes_, *signature);
        if (p.signature_form != "ed25519") {
            s_.add("signature-not-checked", Verdict::cant_say,
                   fmt::format("Signatures of the form '{}' are not checked yet.", p.signature_form), path, by_family);
        } else if (!good) {
            if (index_only_signed_) wanted_.front().right = false;
            s_.add("signature-wrong", Verdict::halt,
                   fmt::format(
                       "The signature '{}' does not belong to the index on this card by the family's key: one of them "
                       "was changed. Get the release again from its source.",
                       printable(path)),
                   path, "signature");
        }
    }

    std::string_view kind_of(const Node& n) {
        Bytes head;
        const Status read = volume_.read({n.path, n.short_name, false, false, false, n.first_cluster,
                                          std::min<std::uint64_t>(n.size, 512), n.at, true},
                                         [&](ByteView b) -> Status {
                                             append(head, b);
                                             return {};
                                         });
        return read ? archive_kind(head) : std::string_view{};
    }

    void judge_foreign() {
        std::set<std::string> ours;  // top-level folders in which something of the release stands
        for (const auto* n : matched_)
            if (const auto slash = n->path.find('/'); slash != std::string::npos) ours.insert(n->path.substr(0, slash));
        std::map<std::string, std::vector<std::string>> leftovers;  // by whose
        std::vector<std::string> at_top, deeper;
        for (const auto& n : listing_.nodes) {
            if (matched_.contains(&n)) continue;
            const auto slash = n.path.find('/');
            const std::string top = n.path.substr(0, slash);
            const bool is_top = slash == std::string::npos;
            if (const auto whose = leftover_of(is_top ? n.path : last_part(n.path)); !whose.empty())
                leftovers[std::string(whose)].push_back(n.path);
            else if (is_top && !(n.folder && ours.contains(top)) && !(archives_said_ && !kind_of(n).empty()))
                at_top.push_back(n.path);
            else if (!is_top && !n.folder && ours.contains(top))
                deeper.push_back(n.path);
        }
        const bool strict = s_.rule() && s_.rule()->foreign == "refused";
        const auto say = [&](const char* code, bool top, const std::vector<std::string>& names, std::string what) {
            if (names.empty()) return;
            const bool refused = strict && top;
            s_.add(code, refused ? Verdict::halt : Verdict::mind,
                   fmt::format("{} {}{}.", some_names(names), what,
                               refused ? ", and the box lists the top of the card strictly: lay the card again"
                               : s_.rule() && top ? ", which the family tolerates"
                                                  : ""),
                   names.front(), s_.rule() ? by_family : "common practice");
        };
        for (const auto& [whose, names] : leftovers) {
            const bool top = std::any_of(names.begin(), names.end(),
                                         [](const std::string& n) { return n.find('/') == std::string::npos; });
            say("desktop-leftover", top, names, fmt::format("was left on the card by {}", whose));
        }
        say("foreign-file", true, at_top,
            at_top.size() == 1 ? "does not belong to the release" : "do not belong to the release");
        say("foreign-file", false, deeper,
            deeper.size() == 1 ? "stands among the release's files and is not named by it"
                               : "stand among the release's files and are not named by it");
    }

    void without_family() {
        for (const auto& n : listing_.nodes)
            if (n.path.find('/') == std::string::npos) {
                if (const auto whose = leftover_of(n.path); !whose.empty())
                    s_.add(
                        "desktop-leftover", Verdict::mind,
                        fmt::format(
                            "'{}' was left on the card by {}; a box that lists the top strictly would stumble on it.",
                            printable(n.path), whose),
                        n.path, "common practice");
                else if (!n.folder)
                    if (const auto kind = kind_of(n); !kind.empty())
                        s_.add("archive-on-card", Verdict::mind,
                               fmt::format("'{}' is an archive ({}); boxes do not open archives as a rule.",
                                           printable(n.path), kind),
                               n.path, "common practice");
            }
        s_.add("family-not-named", Verdict::cant_say,
               "Which box this card is for was not said: where the index must stand, which files belong here and "
               "whether they "
               "are whole was not checked.",
               "", "no family named");
        s_.out.not_checked.push_back("index, files and digests: no family was named (--family ID)");
    }

    AuditState& s_;
    Volume& volume_;
    const Listing& listing_;
    Lookup look_;
    std::string card_prefix_;
    std::string shift_;  // as a key: "" or "FOLDER/"
    bool has_index_ = false;
    bool none_there_ = false;
    bool archives_said_ = false;
    bool index_only_signed_ = false;
    std::optional<Bytes> index_bytes_;
    std::vector<Wanted> wanted_;  // the index first, if there is one
    std::set<const Node*> matched_;
};

}  // namespace

void audit_content(AuditState& s, Volume& volume, const Listing& listing) {
    Content(s, volume, listing).run();
}

}  // namespace fettle::card
