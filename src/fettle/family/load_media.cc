// Sections package and card: what the maker hands out, and the medium that the box reads.
#include "fettle/base/bytes.h"
#include "fettle/family/load_parts.h"

namespace fettle::family {
namespace {

// A JSON pointer (RFC 6901) per item; empty text means that the index does not say.
std::map<std::string, std::string> read_pointers(Section& s, const std::vector<std::string>& must,
                                                 const std::vector<std::string>& may) {
    std::map<std::string, std::string> out;
    const auto read = [&](const std::string& key, Need need) {
        const std::string p = s.text(key, need);
        if (p.empty()) return;
        if (p[0] != '/')
            s.log().mistake(s.at(key), "is \"" + p + "\"; a JSON pointer such as \"/name\" was expected",
                            "start it with a slash and name the members from the outside in");
        out[key] = p;
    };
    for (const std::string& key : must) read(key, Need::must);
    for (const std::string& key : may) read(key, Need::may);
    return out;
}

}  // namespace

void read_package(Section& top, Family& f) {
    top.table("package", Need::may, [&](Section& s) {
        PackageRule p;
        p.index = s.text("index", Need::must);
        p.form = s.word("form", Need::must, {"json"});
        s.table("signature", Need::may, [&](Section& g) {
            p.signature_form = g.word("form", Need::must, {"ed25519"});
            p.signature_file = g.text("file", Need::must);
            p.signature_key = g.text("key", Need::must);
            const auto key = unhex(p.signature_key);
            if (!p.signature_key.empty() && (!key || key->size() != 32))
                g.log().mistake(g.at("key"),
                                "has " + std::to_string(p.signature_key.size()) +
                                    " characters; an Ed25519 public key is 64 hex digits (32 bytes)",
                                "copy the maker's public key again");
        });
        s.table("release", Need::must, [&](Section& r) {
            p.release_fields = read_pointers(
                r, {"release", "pieces"}, {"family", "markets", "installs_from", "counter", "one_way_door", "cures"});
        });
        s.table("piece", Need::must, [&](Section& r) {
            p.piece_fields = read_pointers(r, {"name", "box", "region", "version", "file", "size"},
                                           {"sha256", "sha512", "sha1", "md5", "crc32", "issues"});
        });
        f.package = std::move(p);
    });
}

void read_card(Section& top, Family& f) {
    top.table("card", Need::may, [&](Section& s) {
        CardRule c;
        constexpr std::int64_t most = std::numeric_limits<std::int64_t>::max();
        c.media = s.texts("media", Need::must);
        for (std::size_t i = 0; i < c.media.size(); ++i)
            if (c.media[i] != "usb-stick" && c.media[i] != "sd" && c.media[i] != "block-device")
                s.log().mistake(s.at("media") + "[" + std::to_string(i + 1) + "]",
                                "is \"" + c.media[i] + "\"; usb-stick, sd or block-device was expected",
                                "take one of these words");
        c.table = s.word("table", Need::must, {"mbr", "gpt", "none"}, c.table);
        c.file_system = s.word("file_system", Need::must, {"fat16", "fat32", "exfat"}, c.file_system);
        s.numbers("cluster_kib", Need::may, [&](std::int64_t kib, const std::string& key) {
            if (kib >= 1 && kib <= 32768 && (kib & (kib - 1)) == 0)
                c.cluster_kib.push_back(static_cast<std::uint32_t>(kib));
            else
                s.log().mistake(key, "is " + std::to_string(kib) + "; a power of two from 1 to 32768 was expected",
                                "correct the figure");
        });
        if (const auto v = s.integer("min_bytes", Need::may, 0, most)) c.min_bytes = static_cast<std::uint64_t>(*v);
        if (const auto v = s.integer("max_bytes", Need::may, 1, most)) c.max_bytes = static_cast<std::uint64_t>(*v);
        if (c.max_bytes && c.max_bytes < c.min_bytes)
            s.log().mistake(s.at("max_bytes"), "is below min_bytes", "exchange the two, or correct one");
        c.label = s.text("label", Need::may);
        if (c.label.size() > 11)
            s.log().mistake(s.at("label"), "has more than the 11 characters that a FAT volume label takes",
                            "shorten it");
        c.index_at = s.text("index_at", Need::must);
        c.foreign = s.word("foreign", Need::may, {"tolerated", "refused"}, c.foreign);
        if (const auto v = s.integer("longest_path", Need::may, 1, 32767))
            c.longest_path = static_cast<std::uint32_t>(*v);
        if (const auto v = s.integer("largest_file", Need::may, 1, most))
            c.largest_file = static_cast<std::uint64_t>(*v);
        f.card = std::move(c);
    });
}

}  // namespace fettle::family
