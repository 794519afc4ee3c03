// The image as one stream from front to back: while one thread writes a block, the next is made. Old marks are wiped
// first and the partition table goes on last, when all else is on the medium: a card that was broken off in between is
// taken for nothing. Then every extent is read back and its digest compared with the one taken of what was meant.
#include "fettle/card/lay.h"

#include <fmt/core.h>

#include <algorithm>
#include <cstring>
#include <optional>

#include "fettle/base/digest.h"
#include "fettle/base/text.h"
#include "fettle/card/conveyor.h"
#include "fettle/card/layout.h"

namespace fettle::card {
namespace {

constexpr std::size_t block_bytes = 1u << 20;
constexpr std::size_t hole_bytes = 64u << 10;

bool all_zero(ByteView b) {
    return b.empty() || (b[0] == 0 && std::memcmp(b.data(), b.data() + 1, b.size() - 1) == 0);
}

// Writes a block; on a fresh image the parts that are zero anyway stay holes.
Status write_block(BlockDevice& target, const Block& block) {
    if (!target.fresh()) return target.write_at(block.at, block.bytes);
    const ByteView all(block.bytes);
    for (std::size_t from = 0; from < all.size();) {
        const auto part = [&](std::size_t at) { return all.subspan(at, std::min(hole_bytes, all.size() - at)); };
        std::size_t to = from;
        while (to < all.size() && !all_zero(part(to))) to += part(to).size();
        if (to > from)
            if (Status s = target.write_at(block.at + from, all.subspan(from, to - from)); !s) return s;
        if (to < all.size()) to += part(to).size();  // a hole
        from = to;
    }
    return {};
}

// The bytes of the image from the partition's start on, one after the other.
class Stream {
public:
    Stream(Conveyor& conveyor, std::uint64_t at) : conveyor_(conveyor), at_(at), block_(conveyor.buffer(block_bytes)) {}

    std::uint64_t at() const { return at_ + block_.size(); }

    Status put(ByteView b) {
        while (!b.empty()) {
            const std::size_t n = std::min(b.size(), block_bytes - block_.size());
            append(block_, b.first(n));
            b = b.subspan(n);
            if (Status s = pass_on_full(); !s) return s;
        }
        return {};
    }

    Status zeros_until(std::uint64_t to) {
        while (at() < to) {
            block_.resize(block_.size() + std::min<std::uint64_t>(to - at(), block_bytes - block_.size()));
            if (Status s = pass_on_full(); !s) return s;
        }
        return {};
    }

    Status flush() {
        if (block_.empty()) return {};
        const std::uint64_t end = at();
        Status s = conveyor_.put({at_, std::move(block_)});
        at_ = end;
        block_ = conveyor_.buffer(block_bytes);
        return s;
    }

private:
    Status pass_on_full() { return block_.size() < block_bytes ? Status{} : flush(); }

    Conveyor& conveyor_;
    std::uint64_t at_;
    Bytes block_;
};

tl::unexpected<Error> differs(const SourceFile& f, std::string what) {
    return bad_input("source-differs", printable(f.path), std::move(what),
                     "the package changed or is damaged where it is kept; shelve it again from its source");
}

// One file: sent once, digested once, written once.
Status stream_file(const SourceFile& f, Stream& out, LaidFile& laid, const std::function<void(std::uint64_t)>& told) {
    Sha256Stream digest;
    std::uint64_t got = 0;
    const Status sent = f.send([&](ByteView b) -> Status {
        if (b.size() > f.size - got)
            return differs(f, fmt::format("gives more than the {} bytes that its release names", f.size));
        digest.update(b);
        got += b.size();
        Status s = out.put(b);
        if (s) told(b.size());
        return s;
    });
    if (!sent) return sent;
    if (got != f.size) return differs(f, fmt::format("gave {} bytes, its release names {}", got, f.size));
    laid.sha256 = hex(digest.finish());
    if (!f.sha256.empty() && laid.sha256 != f.sha256)
        return differs(f, fmt::format("has SHA-256 {}, its release names {}", laid.sha256, f.sha256));
    return {};
}

// Takes away what would let a half-laid card be taken for something: table, GPT at both ends, old boot sector.
Status erase_marks(const Layout& l, BlockDevice& target) {
    if (target.fresh()) return {};
    const Bytes zeros(34 * sector_bytes);
    const std::uint64_t size = target.size_bytes();
    const auto wipe = [&](std::uint64_t at) {
        return target.write_at(at, ByteView(zeros).first(std::min<std::uint64_t>(zeros.size(), size - at)));
    };
    if (Status s = wipe(0); !s) return s;
    if (Status s = wipe(size - std::min<std::uint64_t>(size, 33 * sector_bytes)); !s) return s;
    if (Status s = wipe(l.geometry.partition_start * sector_bytes); !s) return s;
    return target.sync();
}

Status stream_fats(const Layout& l, Stream& out) {
    Bytes part(hole_bytes);
    for (std::uint32_t copy = 0; copy < l.geometry.fat_copies; ++copy) {
        if (Status s = out.zeros_until(l.geometry.fat_start(copy) * sector_bytes); !s) return s;
        const std::uint64_t size = l.geometry.fat_sectors * sector_bytes;
        for (std::uint64_t from = 0; from < size; from += part.size()) {
            const ByteSpan some = ByteSpan(part).first(std::min<std::uint64_t>(part.size(), size - from));
            fill_fat(l, from, some);
            if (Status s = out.put(some); !s) return s;
        }
    }
    return {};
}

// SHA-256 over the extents as they stand on the device. One thread reads, this one digests.
Result<std::string> digest_of(const std::vector<Extent>& extents, BlockDevice& device,
                              const std::function<void(std::uint64_t)>& told) {
    Sha256Stream digest;
    Conveyor digesting([&](Block& b) -> Status {
        digest.update(b.bytes);
        return {};
    });
    for (const auto& e : extents)
        for (std::uint64_t done = 0; done < e.length;) {
            const std::uint64_t n = std::min<std::uint64_t>(block_bytes, e.length - done);
            Block b{e.at + done, digesting.buffer(block_bytes)};
            b.bytes.resize(n);
            if (Status s = device.read_at(b.at, b.bytes); !s) return pass(s);
            if (Status s = digesting.put(std::move(b)); !s) return pass(s);
            done += n;
            told(n);
        }
    if (Status s = digesting.finish(); !s) return pass(s);
    return hex(digest.finish());
}

// Where the read-back went wrong, for the message.
std::string first_wrong(const Laid& laid, BlockDevice& device) {
    for (const auto& f : laid.files) {
        const auto now = digest_of({f.extent}, device, [](std::uint64_t) {});
        if (!now) return f.path;
        if (*now != f.sha256) return f.path;
    }
    return "the table, the FATs or the folders";
}

}  // namespace

Result<Laid> lay(const std::vector<SourceFile>& files, const family::CardRule& rule, const Geometry& geometry,
                 std::string_view release_sha256, BlockDevice& target, const Progress& progress, unsigned card_number) {
    if (target.size_bytes() != geometry.card_sectors * sector_bytes)
        return bad_input("card-size-differs", target.name(),
                         fmt::format("has {} bytes, the layout was made for {}", target.size_bytes(),
                                     geometry.card_sectors * sector_bytes),
                         "this is a mistake in Fettle");
    std::vector<FileToPlace> places;
    for (const auto& f : files) places.push_back({f.path, f.size});
    const auto layout = make_layout(places, rule, geometry, release_sha256, card_number);
    if (!layout) return pass(layout);

    Laid laid;
    laid.geometry = geometry;
    const std::uint64_t from = geometry.partition_start * sector_bytes;
    laid.extents = {{0, sector_bytes}, {from, layout->at(layout->next_free) - from}};
    for (const auto& e : laid.extents) laid.bytes += e.length;
    std::uint64_t done = 0;
    const auto told = [&](std::uint64_t n) {
        done += n;
        if (progress) progress(std::min(done, 2 * laid.bytes), 2 * laid.bytes);
    };

    if (Status s = erase_marks(*layout, target); !s) return pass(s);
    Sha256Stream digest;
    digest.update(layout->table);  // first in the digest, last on the card
    {
        Conveyor writing([&](Block& b) -> Status {
            digest.update(b.bytes);
            return write_block(target, b);
        });
        Stream out(writing, from);
        const auto run = [&]() -> Status {
            if (Status s = out.put(layout->boot); !s) return s;
            if (Status s = stream_fats(*layout, out); !s) return s;
            if (Status s = out.put(layout->root_area); !s) return s;
            if (Status s = out.put(layout->folders); !s) return s;
            for (std::size_t i = 0; i < files.size(); ++i) {
                LaidFile f{files[i].path, {files[i].size ? layout->at(layout->first[i]) : 0, files[i].size}, {}};
                if (Status s = stream_file(files[i], out, f, told); !s) return s;
                laid.files.push_back(std::move(f));
                const std::uint64_t cluster = geometry.cluster_bytes();
                const std::uint64_t data = geometry.data_start() * sector_bytes;
                if (Status s = out.zeros_until(data + (out.at() - data + cluster - 1) / cluster * cluster); !s)
                    return s;
            }
            if (Status s = out.flush(); !s) return s;
            return writing.finish();
        };
        if (Status s = run(); !s) return pass(s);
    }
    if (Status s = target.sync(); !s) return pass(s);
    if (Status s = target.write_at(0, layout->table); !s) return pass(s);
    if (Status s = target.sync(); !s) return pass(s);
    laid.digest = hex(digest.finish());

    laid.cold = target.drop_cache();
    done = laid.bytes;
    const auto back = digest_of(laid.extents, target, told);
    if (!back) return pass(back);
    if (*back != laid.digest)
        return outside_error("read-back-differs", fmt::format("{}, {}", target.name(), first_wrong(laid, target)),
                             fmt::format("reads back with SHA-256 {}, written was {}", *back, laid.digest),
                             "do not use this card; take another one and retire it if that happens again");
    return laid;
}

}  // namespace fettle::card
