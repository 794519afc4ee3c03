// The only place that knows zstd (RFC 8878; prefixes are the library's own "refPrefix": raw content as the window's
// past). A prefix costs one pass over it before the first byte, so a second try without it is made only when the delta
// came out so large that it may have been worth nothing.
#include <zstd.h>
#include <zstd_errors.h>

#include <algorithm>
#include <bit>
#include <cstring>
#include <stdexcept>

#include "fettle/shelf/pack.h"

namespace fettle::shelf {
namespace {

// On 408 MB of a kernel release: level 1 119 MB in 0.98 s, 2 117 MB in 1.09 s, 3 116 MB in 1.36 s.
constexpr int level_alone = 2;
// A delta is mostly long matches: the fastest search does, with a table that stays in the processor's cache. On two
// kernel releases (408 MB): 29.7 MB in 0.61 s; with a table of 2^20 places 29.2 MB in 0.73 s. Of either, 0.19 s go into
// taking the prefix into the table. A larger part needs a larger one: every third place of the prefix goes in, and what
// the table has no room for is forgotten from the front.
constexpr int level_delta = 1, shortest_match_delta = 6;

int table_log_delta(int window_log) {
    return window_log <= 21 ? std::clamp(window_log - 1, 10, 18) : std::min(window_log - 3, 23);
}

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
std::size_t frame(ZSTD_CCtx* c, ByteView content, std::optional<ByteView> prefix, Buffer& out) {
    ZSTD_CCtx_reset(c, ZSTD_reset_session_and_parameters);
    ZSTD_CCtx_setParameter(c, ZSTD_c_compressionLevel, prefix ? level_delta : level_alone);
    ZSTD_CCtx_setParameter(c, ZSTD_c_contentSizeFlag, 1);
    if (prefix) {
        const int window = std::bit_width(content.size() + prefix->size());
        ZSTD_CCtx_setParameter(c, ZSTD_c_windowLog, std::clamp(window, 10, 27));
        ZSTD_CCtx_setParameter(c, ZSTD_c_strategy, ZSTD_fast);
        ZSTD_CCtx_setParameter(c, ZSTD_c_minMatch, shortest_match_delta);
        ZSTD_CCtx_setParameter(c, ZSTD_c_hashLog, table_log_delta(window));
        ZSTD_CCtx_refPrefix(c, prefix->data(), prefix->size());
    }
    const ByteSpan into = out.fit(record_head_bytes + ZSTD_compressBound(content.size())).subspan(record_head_bytes);
    const std::size_t n = ZSTD_compress2(c, into.data(), into.size(), content.data(), content.size());
    if (ZSTD_isError(n)) {
        if (ZSTD_getErrorCode(n) == ZSTD_error_memory_allocation) throw std::bad_alloc();
        throw std::logic_error(std::string("zstd: ") + ZSTD_getErrorName(n));
    }
    out.shrink(record_head_bytes + n);
    return n < content.size() ? n : 0;
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
    if (!prefix || prefix->empty()) return frame(c, content, std::nullopt, out) ? Form::zstd : plain();
    const std::size_t delta = frame(c, content, prefix, out);
    if (delta != 0 && delta <= content.size() / 8) return Form::delta;
    const std::size_t alone = frame(c, content, std::nullopt, state_->second);
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
