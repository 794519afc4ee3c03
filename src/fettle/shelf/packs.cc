// Parts are appended to packs that nobody else knows yet, are synced once at the end, and get their names by renaming:
// a kill at any instant leaves packs that the catalogue does not name, and those are cleared away.
#include "fettle/shelf/packs.h"

#include <fcntl.h>
#include <fmt/core.h>
#include <unistd.h>

#include <algorithm>
#include <cerrno>
#include <stdexcept>

namespace fettle::shelf {
namespace fs = std::filesystem;
namespace {

constexpr std::uint64_t write_back_step = 8u << 20;
constexpr std::size_t longest_chain = 16;  // two is the most that is made now; a damaged catalogue may say anything

}  // namespace

fs::path packs_folder(const fs::path& shelf) {
    return shelf / "packs";
}

fs::path pack_path(const fs::path& shelf, std::int64_t id) {
    return packs_folder(shelf) / fmt::format("{:06}.pack", id);
}

PackWriter::~PackWriter() {
    for (const One& p : packs_) ::close(p.fd);
}

std::uint64_t PackWriter::bytes() const {
    const std::lock_guard lock(guard_);
    std::uint64_t sum = 0;
    for (const One& p : packs_) sum += p.size;
    return sum;
}

Result<NewPart> PackWriter::append(const RecordHead& head, ByteSpan record) {
    const ByteView stored = ByteView(record).subspan(record_head_bytes);
    write_record_head(head, stored, record);
    NewPart part;
    int fd = -1;
    fs::path file;
    {
        const std::lock_guard lock(guard_);
        if (packs_.empty() || packs_.back().size >= pack_bytes) {
            const fs::path name = folder_ / fmt::format("{}.pack", packs_.size());
            auto made = disk_.create(name);
            if (!made) return pass(made);
            packs_.push_back({*made, name, 0});
            if (auto ok = disk_.write(*made, name, pack_head(), 0); !ok) return pass(ok);
            packs_.back().size = pack_head_bytes;
        }
        One& p = packs_.back();
        part.pack = packs_.size() - 1;
        part.at = p.size;
        p.size += record.size();
        fd = p.fd;
        file = p.file;
    }
    part.stored = static_cast<std::uint32_t>(stored.size());
    part.size = head.size;
    part.form = head.form;
    if (auto ok = disk_.write(fd, file, record, part.at); !ok) return pass(ok);
    const std::uint64_t begun = part.at / write_back_step, now = (part.at + record.size()) / write_back_step;
    if (begun != now) disk_.start_writing_back(fd, begun * write_back_step, (now - begun) * write_back_step);
    return part;
}

Status PackWriter::sync() {
    for (const One& p : packs_)
        if (auto ok = disk_.sync(p.fd, p.file); !ok) return ok;
    return {};
}

Status PackWriter::publish(const fs::path& shelf, const std::vector<std::int64_t>& ids) {
    for (std::size_t i = 0; i < packs_.size(); ++i)
        if (auto ok = disk_.rename(packs_[i].file, pack_path(shelf, ids.at(i))); !ok) return ok;
    return disk_.sync_folder(packs_folder(shelf));
}

PackReader::~PackReader() {
    forget();
}

void PackReader::forget() {
    const std::lock_guard lock(guard_);
    for (const auto& [id, fd] : open_)
        if (fd >= 0) ::close(fd);
    open_.clear();
}

int PackReader::open_pack(std::int64_t id) {
    const std::lock_guard lock(guard_);
    const auto at = open_.find(id);
    if (at != open_.end()) return at->second;
    const int fd = ::open(pack_path(shelf_, id).c_str(), O_RDONLY | O_CLOEXEC);
    if (fd >= 0) open_[id] = fd;
    return fd;
}

Loaded PackReader::record(const Part& part, Bench& bench, Record* parsed) {
    const auto fault = [&](bool missing) { return Loaded{{}, part.id, missing}; };
    if (part.size > part_limit || part.stored > part.size) return fault(false);
    const int fd = open_pack(part.pack);
    if (fd < 0) return fault(true);
    const ByteSpan record = bench.stored.fit(record_head_bytes + part.stored);
    std::size_t have = 0;
    while (have < record.size()) {
        const ssize_t n = ::pread(fd, record.data() + have, record.size() - have, static_cast<off_t>(part.at + have));
        if (n < 0 && errno == EINTR) continue;
        if (n <= 0) return fault(false);
        have += static_cast<std::size_t>(n);
    }
    const auto r = read_record(record);
    if (!r || r->head.form != part.form || r->head.stored != part.stored || r->head.size != part.size)
        return fault(false);
    if (parsed) *parsed = *r;
    return {record, 0, false};
}

Loaded PackReader::expand(const Part& part, const Loaded& prefix, Bench& bench, Buffer& out, Sum sum) {
    Record r;
    const Loaded raw = record(part, bench, &r);
    if (raw.culprit != 0) return raw;
    const Loaded damaged{{}, part.id, false};
    if (part.form == Form::delta && r.head.prefix_check != prefix.check) return damaged;
    const ByteSpan content = out.fit(part.size);
    if (!bench.press.expand(part.form, r.stored, prefix.bytes, content)) return damaged;
    if (sum == Sum::taken && quick_check(content) != r.head.content_check) return damaged;
    return {content, 0, false, r.head.content_check};
}

Loaded PackReader::load(const Parts& parts, const Part& part, Bench& bench) {
    return load(parts, part, bench, bench.one);
}

Loaded PackReader::chain_of(const Parts& parts, const Part& part, Chain& chain) const {
    chain = {&part};
    while (chain.back()->form == Form::delta) {
        const auto below = parts.find(chain.back()->prefix);
        if (below == parts.end() || chain.size() > longest_chain) return {{}, chain.back()->id, false};
        chain.push_back(&below->second);
    }
    return {};
}

// Two buffers by turns, so that the last one is `out`.
Loaded PackReader::expand_all(const Chain& chain, Bench& bench, Buffer& out, Sum below, Sum last) {
    Loaded now;
    for (std::size_t left = chain.size(); left-- > 0;) {
        now = expand(*chain[left], now, bench, left % 2 == 0 ? out : bench.two, left == 0 ? last : below);
        if (now.culprit != 0) return now;
    }
    return now;
}

// The last sum vouches for all below it; only when it does not hold are all taken, to say which part is damaged.
Loaded PackReader::load(const Parts& parts, const Part& part, Bench& bench, Buffer& out) {
    Chain chain;
    if (const Loaded broken = chain_of(parts, part, chain); broken.culprit != 0) return broken;
    const Loaded quick = expand_all(chain, bench, out, Sum::left, Sum::taken);
    return quick.culprit == 0 ? quick : expand_all(chain, bench, out, Sum::taken, Sum::taken);
}

Loaded PackReader::load_for_digest(const Parts& parts, const Part& part, Bench& bench) {
    Chain chain;
    if (const Loaded broken = chain_of(parts, part, chain); broken.culprit != 0) return broken;
    return expand_all(chain, bench, bench.one, Sum::left, Sum::left);
}

int depth(const Parts& parts, const Part& part) {
    int d = 0;
    for (const Part* p = &part; p->form == Form::delta && d < static_cast<int>(longest_chain); ++d) {
        const auto below = parts.find(p->prefix);
        if (below == parts.end()) break;
        p = &below->second;
    }
    return d;
}

}  // namespace fettle::shelf
