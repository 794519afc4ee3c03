// The marks and what is read of them. Each sector's mark names its own place, so a sector that comes back with
// another's says by the distance how large the card is; and it is filled with what only this session's seed gives, so
// that neither a controller that compresses nor an old session can pass for this one.
#include "fettle/card/gauge.h"

#include <algorithm>
#include <cstring>
#include <numeric>

#include "fettle/base/random.h"
#include "fettle/card/geometry.h"

namespace fettle::card {
namespace {

constexpr std::size_t most_listed = 64;
constexpr std::size_t head_bytes = 32;
// "FTLMARK" and a version, as bytes of the card.
constexpr std::uint64_t magic = 0x01'4B'52'41'4D'4C'54'46ull;

void fill_mark(const GaugePlan& plan, std::uint64_t place, ByteSpan sector) {
    Random random(plan.seed ^ (place * 0xD6E8FEB86659FD93ull));
    store_le64(sector, 0, magic);
    store_le64(sector, 8, plan.seed);
    store_le64(sector, 16, place);
    // Beyond the head, bytes that no controller can compress or guess.
    for (std::size_t at = 24; at < sector_bytes; at += 8) store_le64(sector, at, random.next());
}

// The place a mark's head names, wherever in these bytes it begins: a card may wrap in the middle of a sector.
struct Head {
    std::size_t at;
    std::uint64_t place;
};
std::optional<Head> head_within(const GaugePlan& plan, ByteView bytes) {
    Byte wanted[16];
    store_le64(wanted, 0, magic);
    store_le64(wanted, 8, plan.seed);
    const auto it = std::search(bytes.begin(), bytes.end(), std::begin(wanted), std::end(wanted));
    const auto at = static_cast<std::size_t>(it - bytes.begin());
    if (bytes.size() - at < head_bytes) return std::nullopt;
    return Head{at, load_le64(bytes, at + 16)};
}

void look_at_sector(const GaugePlan& plan, std::uint64_t at, ByteView sector, Seen& seen) {
    const auto other = [&](std::uint64_t place, std::uint64_t here) {
        const std::uint64_t distance = place > here ? place - here : here - place;
        if (place < plan.card_bytes && distance != 0) seen.wrap_bytes = std::gcd(seen.wrap_bytes, distance);
    };
    if (const auto place = mark_in(plan, sector)) {
        ++seen.foreign;
        other(*place, at);
    } else if (std::all_of(sector.begin(), sector.end(), [&](Byte b) { return b == sector[0]; })) {
        ++seen.empty;
    } else {
        ++seen.damaged;
        if (const auto head = head_within(plan, sector)) other(head->place, at + head->at);
    }
}

void look_at(const GaugePlan& plan, const Stretch& s, ByteView got, ByteView wanted, Seen& seen) {
    const std::uint64_t n = s.length / sector_bytes;
    seen.sectors += n;
    if (std::equal(got.begin(), got.end(), wanted.begin())) {
        seen.right += n;
        seen.last_right_to = std::max(seen.last_right_to, s.at + s.length);
        return;
    }
    if (seen.wrong.size() < most_listed) seen.wrong.push_back(s);
    for (std::uint64_t at = 0; at < s.length; at += sector_bytes) {
        const ByteView sector = got.subspan(at, sector_bytes);
        if (std::equal(sector.begin(), sector.end(), wanted.begin() + static_cast<std::ptrdiff_t>(at))) {
            ++seen.right;
            continue;
        }
        if (seen.foreign + seen.empty + seen.damaged == 0) seen.first_wrong_at = s.at + at;
        look_at_sector(plan, s.at + at, sector, seen);
    }
}

}  // namespace

std::vector<Stretch> touched(const GaugePlan& plan) {
    std::vector<Stretch> out;
    const std::uint64_t end = plan.card_bytes / sector_bytes * sector_bytes;
    const std::uint64_t unit = std::min(plan.unit_bytes, end);
    for (std::uint64_t at = 0; at < unit; at += plan.chunk_bytes)
        out.push_back({at, std::min(plan.chunk_bytes, unit - at)});
    if (unit == end) return out;
    // The same place in every unit: then every stretch as long as a unit holds exactly one block's worth of marks.
    const std::uint64_t places = (plan.unit_bytes - plan.block_bytes) / plan.block_bytes + 1;
    const std::uint64_t in_unit = plan.seed % places * plan.block_bytes;
    const std::uint64_t last = std::max(end - std::min(end, plan.block_bytes), unit);
    for (std::uint64_t at = plan.unit_bytes + in_unit; at < last && last - at >= plan.block_bytes;
         at += plan.unit_bytes)
        out.push_back({at, plan.block_bytes});
    out.push_back({last, end - last});
    return out;
}

void fill_marks(const GaugePlan& plan, std::uint64_t at, ByteSpan out) {
    for (std::size_t done = 0; done < out.size(); done += sector_bytes)
        fill_mark(plan, at + done, out.subspan(done, sector_bytes));
}

std::optional<std::uint64_t> mark_in(const GaugePlan& plan, ByteView sector) {
    const auto head = head_within(plan, sector.first(head_bytes));
    if (!head || head->at != 0) return std::nullopt;
    Byte wanted[sector_bytes];
    fill_mark(plan, head->place, wanted);
    if (!std::equal(sector.begin(), sector.end(), std::begin(wanted))) return std::nullopt;
    return head->place;
}

Result<Written> write_marks(const GaugePlan& plan, BlockDevice& device, const Seconds& now,
                            const GaugeProgress& progress) {
    const auto all = touched(plan);
    std::uint64_t total = 0, done = 0;
    for (const auto& s : all) total += s.length;
    Written out;
    Bytes marks(plan.chunk_bytes);
    for (const auto& s : all) {
        const ByteSpan part = ByteSpan(marks).first(s.length);
        fill_marks(plan, s.at, part);
        const double began = now();
        if (Status st = device.write_at(s.at, part); !st) return pass(st);
        out.writes.push_back({s, now() - began});
        done += s.length;
        if (progress) progress(done, total);
    }
    if (Status st = device.sync(); !st) return pass(st);
    return out;
}

Result<Seen> read_marks(const GaugePlan& plan, BlockDevice& device, const Seconds& now, const GaugeProgress& progress) {
    const auto all = touched(plan);
    std::uint64_t total = 0, done = 0;
    for (const auto& s : all) total += s.length;
    Seen seen;
    seen.cold = device.drop_cache();
    Bytes got(plan.chunk_bytes), wanted(plan.chunk_bytes);
    std::optional<Error> failed;
    bool any_read = false;
    for (const auto& s : all) {
        const ByteSpan part = ByteSpan(got).first(s.length), expected = ByteSpan(wanted).first(s.length);
        const double began = now();
        const Status st = device.read_at(s.at, part);
        if (st) {
            any_read = true;
            seen.reads.push_back({s, now() - began});
            fill_marks(plan, s.at, expected);
            look_at(plan, s, part, expected, seen);
        } else {
            if (!failed) failed = st.error();
            if (seen.unreadable.size() < most_listed) seen.unreadable.push_back(s);
            seen.sectors += s.length / sector_bytes;
            // A card that is gone fails everywhere; nobody waits for thousands of failures.
            if (!any_read && seen.unreadable.size() == most_listed) break;
        }
        done += s.length;
        if (progress) progress(done, total);
    }
    if (!any_read && failed) return tl::unexpected(std::move(*failed));
    return seen;
}

}  // namespace fettle::card
