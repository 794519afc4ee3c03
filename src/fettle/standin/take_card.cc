// The box's own look at a card: it finds the index, checks its signature, and holds every piece against its digest. It
// uses the card room's reader, and no part of what laid or audited the card.
#include <fmt/format.h>

#include <algorithm>
#include <set>

#include "fettle/base/cms.h"
#include "fettle/base/digest.h"
#include "fettle/base/ed25519.h"
#include "fettle/base/text.h"
#include "fettle/card/reader.h"
#include "fettle/standin/world.h"

namespace fettle::standin {

namespace {

constexpr std::uint64_t largest_index = 16u << 20;

// What the box shows when it finds no index: the family's own message about it, if the file has one.
std::string no_index_text(const family::Family& f) {
    for (const auto& m : f.messages)
        if (f.package && m.meaning.find(f.package->index) != std::string::npos && !m.refused_piece) return m.text;
    return "No update found";
}

// Where the family says that the box takes no card with anything else on it: is there anything else at the top?
bool has_foreign(const card::Listing& listing, const family::Release& release, const family::Family& f,
                 const std::string& prefix) {
    const auto top = [](const std::string& path) { return path.substr(0, path.find('/')); };
    std::set<std::string> own{top(prefix + f.package->index)};
    if (!f.package->signature_file.empty()) own.insert(top(prefix + f.package->signature_file));
    for (const auto& piece : release.pieces)
        for (const auto& file : piece.files) own.insert(top(prefix + file.path));
    return std::any_of(listing.nodes.begin(), listing.nodes.end(), [&](const card::Node& n) {
        return n.path.find('/') == std::string::npos && !own.contains(n.path);
    });
}

std::string prefix_on_card(const family::Family& f) {
    const std::string at = f.card ? f.card->index_at : f.package->index;
    const std::string& index = f.package->index;
    return at.size() > index.size() && at.ends_with(index) ? at.substr(0, at.size() - index.size()) : std::string();
}

bool file_is_whole(card::Volume& volume, const card::Node& node, const family::PieceFile& wanted) {
    if (wanted.sized && node.size != wanted.size) return false;
    for (const auto& [algorithm, digest] : wanted.digests) {
        if (algorithm == "sha256") {
            Sha256Stream stream;
            const auto read = volume.read(node, [&](ByteView b) {
                stream.update(b);
                return Status{};
            });
            if (!read || hex(stream.finish()) != digest) return false;
        } else {
            const auto bytes = volume.read_all(node, 256u << 20);
            if (!bytes) return false;
            const auto found = digest_hex(algorithm, *bytes);
            if (!found || *found != digest) return false;
        }
    }
    return true;
}

// By the box's own look at the signature. Boxes have no clock that could be trusted: dates of certificates do not
// count.
bool is_genuine(card::Volume& volume, const card::Listing& listing, const family::PackageRule& rule,
                const std::string& prefix, ByteView index) {
    if (rule.signature_form.empty()) return true;
    const card::Node* node = listing.find(prefix + rule.signature_file);
    if (!node || node->folder) return false;
    const auto signature = volume.read_all(*node, 64u << 10);
    if (!signature) return false;
    if (rule.signature_form == "cms")
        return cms_check(*signature, index, rule.signature_certificates).state == CmsState::good;
    const auto key = unhex(rule.signature_key);
    return key && ed25519_verify(*key, index, *signature);
}

CardContents read_card(card::BlockDevice& device, const family::Family& f) {
    CardContents out;
    if (!f.package) {
        out.at_reading = "No update found";
        return out;
    }
    auto volume = card::Volume::open(device);
    if (!volume) {
        out.at_reading = no_index_text(f);
        return out;
    }
    const auto listing = volume->list();
    const std::string prefix = prefix_on_card(f);
    const card::Node* index = listing ? listing->find(prefix + f.package->index) : nullptr;
    if (!index || index->folder) {
        out.at_reading = no_index_text(f);
        return out;
    }
    const auto text = volume->read_all(*index, largest_index);
    if (!text) {
        out.at_reading = no_index_text(f);
        return out;
    }
    if (!is_genuine(*volume, *listing, *f.package, prefix, *text)) {
        out.at_reading = "Update not genuine";
        return out;
    }
    auto release = family::read_index(f, as_text(*text));
    if (!release) {
        out.at_reading = "Update not readable";
        return out;
    }
    family::fill_sizes(*release, [&](const std::string& path) -> std::optional<std::uint64_t> {
        const card::Node* node = listing->find(prefix + path);
        return node && !node->folder ? std::optional(node->size) : std::nullopt;
    });
    if (f.card && f.card->foreign == "refused" && has_foreign(*listing, *release, f, prefix)) {
        out.at_reading = "Card holds other files";
        return out;
    }
    for (const auto& piece : release->pieces)
        for (const auto& file : piece.files) {
            const card::Node* node = listing->find(prefix + file.path);
            if (out.at_comparing.empty() && (!node || node->folder || !file_is_whole(*volume, *node, file)))
                out.at_comparing = fmt::format("Damaged: {}", piece.name);
        }
    out.release = std::move(*release);
    return out;
}

}  // namespace

std::shared_ptr<const CardContents> World::look_at_card() {
    if (!device) return nullptr;
    if (!seen) seen = std::make_shared<const CardContents>(read_card(*device, *family));
    return seen;
}

// What the box itself holds against a release that is whole and genuine. Empty: nothing.
std::string World::refusal_by_identity(const family::Release& r) const {
    if (!r.family.empty() && r.family != family->id) return "Update for another unit";
    for (const auto& b : boxes) {
        if (!r.markets.empty() && std::find(r.markets.begin(), r.markets.end(), b.market) == r.markets.end())
            return "Update for another market";
        if (r.counter && *r.counter < b.counter) return "Update too old";
        if (!r.installs_from.empty()) {
            const auto order = family::compare_versions(family->order, b.release, r.installs_from);
            if (!order || *order < 0) return fmt::format("Needs {} first", r.installs_from);
        }
    }
    return {};
}

std::string content_digest(const family::Piece& piece) {
    std::string joined;
    for (const auto& f : piece.files) {
        const auto d = f.digests.find("sha256");
        const std::string one = d != f.digests.end() ? d->second
                                : f.digests.empty()  ? std::string()
                                                     : f.digests.begin()->second;
        if (piece.files.size() == 1) return one;
        joined += one + "\n";
    }
    return sha256_hex(std::string_view(joined));
}

PieceState piece_state(const family::Piece& p) {
    return {p.region, p.name, p.version, content_digest(p), p.bytes()};
}

std::string key_of(const std::string& box, const std::string& piece) {
    return box + "/" + piece;
}

}  // namespace fettle::standin
