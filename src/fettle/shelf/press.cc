// zstd (RFC 8878; prefixes are the library's own "refPrefix": raw content as the window's past). Where a content is
// like its prefix is found by likeness.h; zstd codes what was found. A second try without the prefix is made only when
// the delta came out large and less than half of the content was found in the prefix: it may have been worth nothing.
#include <zstd_errors.h>

#include <algorithm>
#include <bit>
#include <cstring>
#include <stdexcept>

#include "fettle/shelf/likeness.h"
#include "fettle/shelf/pack.h"

namespace fettle::shelf {
namespace {

// On 408 MB of a kernel release: level 1 119 MB in 0.98 s, 2 117 MB in 1.09 s, 3 116 MB in 1.36 s; all are expanded in
// 0.35 s.
constexpr int level_alone = 1, level_delta = 1;

struct FreeC {
    void operator()(ZSTD_CCtx* c) const { ZSTD_freeCCtx(c); }
};
struct FreeD {
    void operator()(ZSTD_DCtx* d) const { ZSTD_freeDCtx(d); }
};

}  // namespace

struct Press::State {
    std::unique_ptr<ZSTD_CCtx, FreeC> c{ZSTD_createCCtx()};
    std::unique_ptr<ZSTD_DCtx, FreeD> d{ZSTD_createDCtx()};
    Likeness likeness;
    Buffer second;
};

Press::Press() : state_(std::make_unique<State>()) {
    if (!state_->c || !state_->d) throw std::bad_alloc();
}
Press::~Press() = default;
Press::Press(Press&&) noexcept = default;
Press& Press::operator=(Press&&) noexcept = default;

namespace {

// The frame's size, or 0 when it would not be smaller than the content.
std::size_t finished(std::size_t n, ByteView content, Buffer& out) {
    if (ZSTD_isError(n)) {
        if (ZSTD_getErrorCode(n) == ZSTD_error_memory_allocation) throw std::bad_alloc();
        throw std::logic_error(std::string("zstd: ") + ZSTD_getErrorName(n));
    }
    out.shrink(record_head_bytes + n);
    return n < content.size() ? n : 0;
}

ByteSpan room(ByteView content, Buffer& out) {
    return out.fit(record_head_bytes + ZSTD_compressBound(content.size())).subspan(record_head_bytes);
}

std::size_t frame(ZSTD_CCtx* c, ByteView content, Buffer& out) {
    ZSTD_CCtx_reset(c, ZSTD_reset_session_and_parameters);
    ZSTD_CCtx_setParameter(c, ZSTD_c_compressionLevel, level_alone);
    const ByteSpan into = room(content, out);
    return finished(ZSTD_compress2(c, into.data(), into.size(), content.data(), content.size()), content, out);
}

// The prefix itself is not given to zstd: the copies say how far back they reach, and only who expands needs it.
std::size_t frame_after(ZSTD_CCtx* c, ByteView prefix, ByteView content, Likeness& likeness, Buffer& out) {
    ZSTD_CCtx_reset(c, ZSTD_reset_session_and_parameters);
    ZSTD_CCtx_setParameter(c, ZSTD_c_compressionLevel, level_delta);
    ZSTD_CCtx_setParameter(c, ZSTD_c_windowLog,
                           std::clamp<int>(std::bit_width(prefix.size() + content.size()), 10, 27));
    const ByteSpan into = room(content, out);
    // ZSTD_compressSequences may change from version to version: with another one than it was built with, zstd
    // searches.
    if (ZSTD_versionNumber() != ZSTD_VERSION_NUMBER) {
        ZSTD_CCtx_refPrefix(c, prefix.data(), prefix.size());
        return finished(ZSTD_compress2(c, into.data(), into.size(), content.data(), content.size()), content, out);
    }
    const auto copies = likeness.find(prefix, content);
    ZSTD_CCtx_setParameter(c, ZSTD_c_strategy, ZSTD_fast);
    ZSTD_CCtx_setParameter(c, ZSTD_c_hashLog, ZSTD_HASHLOG_MIN);  // nothing is searched
    ZSTD_CCtx_setParameter(c, ZSTD_c_minMatch, static_cast<int>(Likeness::shortest_copy));
    return finished(ZSTD_compressSequences(c, into.data(), into.size(), copies.data(), copies.size(), content.data(),
                                           content.size()),
                    content, out);
}

}  // namespace

Form Press::squeeze(ByteView content, std::optional<ByteView> prefix, Buffer& out) {
    ZSTD_CCtx* c = state_->c.get();
    const auto plain = [&] {
        std::copy(content.begin(), content.end(),
                  out.fit(record_head_bytes + content.size()).begin() + record_head_bytes);
        return Form::plain;
    };
    if (content.size() < 64) return plain();
    if (!prefix || prefix->empty()) return frame(c, content, out) ? Form::zstd : plain();
    const std::size_t delta = frame_after(c, *prefix, content, state_->likeness, out);
    const bool alike = delta <= content.size() / 8 || state_->likeness.from_prefix() >= content.size() / 2;
    if (delta != 0 && alike) return Form::delta;
    const std::size_t alone = frame(c, content, state_->second);
    if (alone != 0 && (delta == 0 || alone <= delta)) {
        std::swap(out, state_->second);
        return Form::zstd;
    }
    return delta != 0 ? Form::delta : plain();
}

bool Press::expand(Form form, ByteView stored, ByteView prefix, ByteSpan out) {
    if (form == Form::plain) {
        if (stored.size() != out.size()) return false;
        std::copy(stored.begin(), stored.end(), out.begin());
        return true;
    }
    ZSTD_DCtx* d = state_->d.get();
    ZSTD_DCtx_reset(d, ZSTD_reset_session_and_parameters);
    if (form == Form::delta) ZSTD_DCtx_refPrefix(d, prefix.data(), prefix.size());
    const std::size_t n = ZSTD_decompressDCtx(d, out.data(), out.size(), stored.data(), stored.size());
    return !ZSTD_isError(n) && n == out.size();
}

}  // namespace fettle::shelf
