// How were the digests made? Whole files first; where no algorithm gives what a cell holds, the file without a head, and
// the file in blocks, are tried on a sample. The winner is then held against all files.
#include "fettle/contact/hunt.h"

#include <fmt/core.h>

#include <algorithm>
#include <map>
#include <set>

#include "fettle/base/digest.h"
#include "fettle/base/text.h"

namespace fettle::contact {
namespace {

constexpr std::uint64_t largest_sampled = 64u << 20, largest_held = 8u << 20;
constexpr std::size_t block = 1u << 18;
constexpr std::uint64_t heads[] = {4, 8, 12, 16, 20, 24, 32, 48, 64, 96, 128, 256, 512, 1024, 2048, 4096};
constexpr std::uint64_t block_sizes[] = {512,   1024,  2048,   4096,   8192,   16384,
                                         32768, 65536, 131072, 262144, 524288, 1048576};

std::string digest_of(const std::string& algorithm, ByteView b) {
    return digest_hex(algorithm, b).value_or("");
}

// The digests in one cell: one, or one for each block with blanks or commas between.
std::vector<DigestText> digests_in(std::string_view cell) {
    std::vector<DigestText> out;
    while (!cell.empty()) {
        const std::size_t end = std::min(cell.find_first_of(" ,;"), cell.size());
        if (end > 0) {
            auto d = digest_text(cell.substr(0, end));
            if (!d) return {};
            out.push_back(std::move(*d));
        }
        cell.remove_prefix(std::min(end + 1, cell.size()));
    }
    return out;
}

struct Claim {
    std::size_t member = 0;
    std::vector<DigestText> digests;
};

struct Field {
    Index* index = nullptr;
    std::string name;
    std::vector<Claim> sample;
};

std::size_t column(const Table& t, const std::string& field) {
    return static_cast<std::size_t>(std::find(t.fields.begin(), t.fields.end(), field) - t.fields.begin());
}

// Fields of which nine in ten filled cells are digests of one kind.
std::vector<Field> digest_fields(std::vector<Index>& indexes, const std::vector<shelf::Member>& members) {
    std::vector<Field> out;
    for (Index& index : indexes)
        for (std::size_t c = 0; c < index.table.fields.size(); ++c) {
            if (index.table.fields[c] == index.path_field || index.table.fields[c] == index.size_field) continue;
            std::vector<Claim> claims;
            std::map<std::string, std::size_t> kinds;
            std::set<Bytes> different;
            std::size_t filled = 0;
            for (std::size_t r = 0; r < index.table.rows.size(); ++r) {
                const std::string& cell = index.table.rows[r][c];
                if (!index.files[r] || cell.empty()) continue;
                ++filled;
                // An empty file proves nothing, a huge one takes long.
                const std::uint64_t size = members[*index.files[r]].size;
                auto digests = digests_in(cell);
                if (digests.empty()) continue;
                ++kinds[digests.front().algorithm + digests.front().encoding];
                different.insert(digests.front().bytes);
                if (size > 0 && size <= largest_sampled) claims.push_back({*index.files[r], std::move(digests)});
            }
            std::size_t most = 0;
            for (const auto& [kind, n] : kinds) most = std::max(most, n);
            if (filled == 0 || most * 10 < filled * 9 || claims.empty()) continue;
            // Words such as "system" could be base64; but digests of different files differ.
            if (claims.size() > 2 && different.size() * 2 < claims.size()) continue;
            Field f{&index, index.table.fields[c], {}};
            const std::size_t n = std::min(sample_size, claims.size());
            for (std::size_t i = 0; i < n; ++i) f.sample.push_back(std::move(claims[i * claims.size() / n]));
            out.push_back(std::move(f));
        }
    return out;
}

bool agrees(const Claim& claim, const Making& how, ByteView file) {
    const auto is = [&](std::size_t i, ByteView b) {
        return digest_of(how.algorithm, b) == hex(claim.digests[i].bytes);
    };
    if (claim.digests.front().algorithm != how.algorithm) return false;
    switch (how.of) {
        case Making::Of::whole: return claim.digests.size() == 1 && is(0, file);
        case Making::Of::without_head:
            return claim.digests.size() == 1 && file.size() > how.bytes && is(0, file.subspan(how.bytes));
        case Making::Of::first_block:
            return claim.digests.size() == 1 && file.size() > how.bytes && is(0, file.first(how.bytes));
        case Making::Of::blocks:
            if (claim.digests.size() != (file.size() + how.bytes - 1) / how.bytes) return false;
            for (std::size_t i = 0; i < claim.digests.size(); ++i)
                if (!is(i, file.subspan(i * how.bytes, std::min<std::size_t>(how.bytes, file.size() - i * how.bytes))))
                    return false;
            return true;
    }
    return false;
}

// Every other way than over the whole file, on files held in memory; the one with the most that agree.
std::optional<Making> other_ways(const Field& f, const std::map<std::size_t, Bytes>& held, Counted& count) {
    std::optional<Making> best;
    const DigestText& like = f.sample.front().digests.front();
    const auto look = [&](Making::Of of, std::uint64_t bytes) {
        const Making how{like.algorithm, like.encoding, of, bytes};
        Counted c;
        for (const Claim& claim : f.sample) {
            const auto file = held.find(claim.member);
            if (file == held.end()) continue;
            ++c.looked_at;
            c.agree += agrees(claim, how, file->second);
            if (c.looked_at == 3 && c.agree == 0)
                break;  // lies are seldom all at the front, and this is a guess of many
        }
        if (c.agree > count.agree) {
            count = c;
            best = how;
        }
    };
    for (const std::uint64_t h : heads) look(Making::Of::without_head, h);
    for (const std::uint64_t b : block_sizes) look(Making::Of::first_block, b);
    for (const std::uint64_t b : block_sizes) look(Making::Of::blocks, b);
    return best;
}

Status each_block(const shelf::Read& read, const std::function<void(ByteView)>& use) {
    thread_local Bytes buffer(block);
    for (;;) {
        const auto n = read(buffer);
        if (!n) return tl::unexpected<Error>(n.error());
        if (*n == 0) return {};
        use(ByteView(buffer).first(*n));
    }
}

int strength(const std::string& algorithm) {
    const char* order[] = {"crc32", "md5", "sha1", "sha256", "sha512"};
    return static_cast<int>(std::find(std::begin(order), std::end(order), algorithm) - std::begin(order));
}

}  // namespace

std::string Making::words() const {
    static const std::map<std::string, std::string> names = {
        {"crc32", "CRC-32"}, {"md5", "MD5"}, {"sha1", "SHA-1"}, {"sha256", "SHA-256"}, {"sha512", "SHA-512"}};
    const auto at = names.find(algorithm);
    std::string out = fmt::format("{}, {}", at == names.end() ? algorithm : at->second, encoding);
    if (of == Of::without_head) out += fmt::format(", of the file without its first {} bytes", bytes);
    if (of == Of::first_block) out += fmt::format(", of the file's first {} bytes", bytes);
    if (of == Of::blocks) out += fmt::format(", one for each {} bytes", bytes);
    return out;
}

Status hunt_on_sample(shelf::Package& package, std::vector<Index>& indexes) {
    std::vector<Field> fields = digest_fields(indexes, package.members());
    std::map<std::size_t, std::set<std::string>> wanted_kinds;  // of a member
    for (const Field& f : fields)
        for (const Claim& c : f.sample) wanted_kinds[c.member].insert(c.digests.front().algorithm);
    std::map<std::size_t, std::map<std::string, std::string>> whole;
    std::map<std::size_t, Bytes> held;
    std::vector<bool> wanted(package.members().size());
    for (const auto& [member, kinds] : wanted_kinds) {  // made here: two threads may visit
        wanted[member] = true;
        whole[member];
        if (package.members()[member].size <= largest_held) held[member];
    }
    const auto done = package.visit(wanted, [&](std::size_t i, const shelf::Read& read) -> Status {
        std::vector<std::pair<std::string, DigestStream>> streams;
        for (const std::string& kind : wanted_kinds.at(i))
            if (auto s = DigestStream::make(kind)) streams.emplace_back(kind, std::move(*s));
        const auto keep = held.find(i);
        auto ok = each_block(read, [&](ByteView b) {
            for (auto& [kind, s] : streams) s.update(b);
            if (keep != held.end() && keep->second.size() + b.size() <= largest_held) append(keep->second, b);
        });
        if (!ok) return ok;
        for (auto& [kind, s] : streams) whole.at(i)[kind] = s.finish();
        return {};
    });
    if (!done) return done;
    for (Field& f : fields) {
        DigestField out;
        out.field = f.name;
        for (const Claim& c : f.sample) {
            ++out.sample.looked_at;
            const DigestText& d = c.digests.front();
            out.sample.agree += c.digests.size() == 1 && whole.at(c.member).at(d.algorithm) == hex(d.bytes);
        }
        const DigestText& like = f.sample.front().digests.front();
        if (out.sample.agree > 0) {
            out.making = Making{like.algorithm, like.encoding, Making::Of::whole, 0};
        } else {
            Counted other;
            out.making = other_ways(f, held, other);
            if (out.making) out.sample = other;
        }
        f.index->digests.push_back(std::move(out));
    }
    for (Index& index : indexes)
        std::sort(index.digests.begin(), index.digests.end(), [](const DigestField& a, const DigestField& b) {
            if (a.making.has_value() != b.making.has_value()) return a.making.has_value();
            if (!a.making) return a.field < b.field;
            const bool more = a.sample.agree * b.sample.looked_at > b.sample.agree * a.sample.looked_at;
            const bool less = a.sample.agree * b.sample.looked_at < b.sample.agree * a.sample.looked_at;
            if (more || less) return more;
            const int x = strength(a.making->algorithm), y = strength(b.making->algorithm);
            return x != y ? x > y : a.field < b.field;
        });
    return {};
}

Status hunt_over_all(shelf::Package& package, Index& index) {
    if (index.digests.empty() || !index.digests.front().making) return {};
    DigestField& f = index.digests.front();
    const Making how = *f.making;
    const std::size_t c = column(index.table, f.field);
    std::vector<std::vector<std::size_t>> records(package.members().size());  // of a member
    std::vector<bool> wanted(package.members().size());
    for (std::size_t r = 0; r < index.files.size(); ++r)
        if (index.files[r] && !index.table.rows[r][c].empty()) {
            wanted[*index.files[r]] = true;
            records[*index.files[r]].push_back(r);
        }
    std::vector<char> good(index.files.size());  // not vector<bool>: two threads may write beside each other
    const auto done = package.visit(wanted, [&](std::size_t i, const shelf::Read& read) -> Status {
        if (how.of ==
            Making::Of::blocks) {  // as many digests as blocks: the whole file is held, if it is not too large
            Bytes file;
            auto ok = each_block(read, [&](ByteView b) {
                if (file.size() + b.size() <= largest_sampled) append(file, b);
            });
            if (!ok) return ok;
            for (const std::size_t r : records[i]) {
                const Claim claim{i, digests_in(index.table.rows[r][c])};
                good[r] =
                    !claim.digests.empty() && file.size() == package.members()[i].size && agrees(claim, how, file);
            }
            return {};
        }
        auto stream = DigestStream::make(how.algorithm);
        if (!stream) return tl::unexpected<Error>(stream.error());
        std::uint64_t at = 0;
        auto ok = each_block(read, [&](ByteView b) {
            const std::uint64_t from = how.of == Making::Of::without_head ? how.bytes : 0;
            const std::uint64_t to = how.of == Making::Of::first_block ? how.bytes : ~std::uint64_t{0};
            const std::uint64_t end = at + b.size();
            if (end > from && at < to) {
                const std::uint64_t skip = from > at ? from - at : 0;
                const std::uint64_t take = std::min(end, to) - at - skip;
                stream->update(b.subspan(static_cast<std::size_t>(skip), static_cast<std::size_t>(take)));
            }
            at = end;
        });
        if (!ok) return ok;
        const std::string seen = stream->finish();
        for (const std::size_t r : records[i]) {
            const auto d = digest_text(index.table.rows[r][c]);
            good[r] = d && d->algorithm == how.algorithm && hex(d->bytes) == seen;
        }
        return {};
    });
    if (!done) return done;
    Counted count;
    for (std::size_t i = 0; i < records.size(); ++i)
        for (const std::size_t r : records[i]) {
            ++count.looked_at;
            count.agree += static_cast<std::size_t>(good[r]);
            if (!good[r] && f.wrong.size() < 5) f.wrong.push_back(package.members()[i].path);
        }
    f.over_all = count;
    return {};
}

}  // namespace fettle::contact
