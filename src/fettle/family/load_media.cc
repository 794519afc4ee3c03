// Section card: the medium that the box reads.
#include "fettle/family/load_parts.h"

namespace fettle::family {
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
        s.table("in_turn", Need::may, [&](Section& t) {
            if (const auto v = t.integer("most", Need::must, 2, 9)) c.in_turn.most = static_cast<unsigned>(*v);
            c.in_turn.each_bytes = c.max_bytes;
            if (const auto v = t.integer("each_bytes", c.max_bytes ? Need::may : Need::must, 1 << 20, most))
                c.in_turn.each_bytes = static_cast<std::uint64_t>(*v);
            c.in_turn.index_on_every = t.word("index_on", Need::must, {"every card", "first card"}, "") != "first card";
            if (c.max_bytes && c.in_turn.each_bytes > c.max_bytes)
                s.log().mistake(t.at("each_bytes"), "is above max_bytes", "correct one of the two");
        });
        f.card = std::move(c);
    });
}

}  // namespace fettle::family
