#include "fettle/shelf/likeness.h"

#include <gtest/gtest.h>
#include <rapidcheck/gtest.h>

#include <random>

#include "fettle/shelf/pack.h"

namespace fettle::shelf {
namespace {

// New bytes until it is looked for everywhere, and what the longest stride then leaves out; see likeness.cc.
constexpr std::size_t lost_bytes = 2048;

Bytes noise(std::size_t size, unsigned seed) {
    std::mt19937 random(seed);
    Bytes out(size);
    for (Byte& b : out) b = static_cast<Byte>(random());
    return out;
}

Bytes joined(std::initializer_list<ByteView> parts) {
    Bytes out;
    for (const ByteView part : parts) out.insert(out.end(), part.begin(), part.end());
    return out;
}

// What the copies say, carried out: the meaning of a zstd sequence (RFC 8878, 3.1.1.5), byte by byte.
Bytes rebuilt(ByteView prefix, ByteView content, std::span<const ZSTD_Sequence> copies) {
    Bytes all(prefix.begin(), prefix.end());
    const auto fresh = [&](std::size_t count) {
        const std::size_t at = all.size() - prefix.size();
        if (count > content.size() - at) throw std::runtime_error("more new bytes than there are");
        all.insert(all.end(), content.begin() + static_cast<std::ptrdiff_t>(at),
                   content.begin() + static_cast<std::ptrdiff_t>(at + count));
    };
    for (const ZSTD_Sequence& c : copies) {
        if (c.matchLength < Likeness::shortest_copy) throw std::runtime_error("a copy too short");
        fresh(c.litLength);
        if (c.offset == 0 || c.offset > all.size()) throw std::runtime_error("a copy from before the prefix");
        for (unsigned i = 0; i < c.matchLength; ++i) all.push_back(all[all.size() - c.offset]);
    }
    fresh(content.size() - (all.size() - prefix.size()));
    return {all.begin() + static_cast<std::ptrdiff_t>(prefix.size()), all.end()};
}

std::size_t new_bytes(ByteView content, std::span<const ZSTD_Sequence> copies) {
    std::size_t copied = 0;
    for (const ZSTD_Sequence& c : copies) copied += c.matchLength;
    return content.size() - copied;
}

// Of any two contents, also of few different bytes, where copies abound.
RC_GTEST_PROP(Likeness, CopiesGiveTheContent, ()) {
    const auto text = rc::gen::container<Bytes>(
        rc::gen::weightedOneOf<Byte>({{9, rc::gen::inRange<Byte>(0, 3)}, {1, rc::gen::arbitrary<Byte>()}}));
    const Bytes prefix = *text;
    Bytes content;
    const int pieces = *rc::gen::inRange(0, 12);
    for (int i = 0; i < pieces; ++i) {
        const Bytes fresh = *text;
        content.insert(content.end(), fresh.begin(), fresh.end());
        if (prefix.empty()) continue;
        const auto from = *rc::gen::inRange<std::size_t>(0, prefix.size());
        const auto size = *rc::gen::inRange<std::size_t>(0, prefix.size() - from + 1);
        content.insert(content.end(), prefix.begin() + static_cast<std::ptrdiff_t>(from),
                       prefix.begin() + static_cast<std::ptrdiff_t>(from + size));
    }
    Likeness likeness;
    RC_ASSERT(rebuilt(prefix, content, likeness.find(prefix, content)) == content);
}

// Where long stretches went, came or changed places, the rest is still found. What a copy cannot hold is at most some
// hundred bytes each time.
TEST(Likeness, LongStretchesGoneComeAndMoved) {
    const Bytes old = noise(3 << 20, 1), fresh = noise(700'000, 2);
    const ByteView v = old;
    struct Case {
        const char* what;
        Bytes content;
        std::size_t at_most;
    };
    for (const auto& [what, content, at_most] : {
             Case{"nothing changed", old, 0},
             Case{"a byte changed", joined({v.first(99'999), ByteView(fresh).first(1), v.subspan(100'000)}), 16},
             Case{"a long stretch gone", joined({v.first(200'001), v.subspan(1'200'007)}), 2 * lost_bytes},
             Case{"a long stretch new", joined({v.first(1'000'003), fresh, v.subspan(1'000'003)}),
                  700'000 + 2 * lost_bytes},
             Case{"halves changed places", joined({v.subspan(1'500'000), v.first(1'500'000)}), 3 * lost_bytes},
             Case{"shifted by three", joined({ByteView(fresh).first(3), v}), 64},
         }) {
        Likeness likeness;
        const auto copies = likeness.find(old, content);
        EXPECT_EQ(rebuilt(old, content, copies), content) << what;
        EXPECT_LE(new_bytes(content, copies), at_most) << what;
    }
}

// zstd's own search beside it (this build's library): a content of small changes, as a new build of a program has them.
TEST(Likeness, IsNearWhatZstdFinds) {
    const Bytes old = noise(1 << 20, 3);
    Bytes content;
    std::mt19937 random(4);
    for (std::size_t at = 0; at < old.size();) {
        const std::size_t run = std::min<std::size_t>(old.size() - at, 20 + random() % 400);
        content.insert(content.end(), old.begin() + static_cast<std::ptrdiff_t>(at),
                       old.begin() + static_cast<std::ptrdiff_t>(at + run));
        at += run;
        switch (random() % 3) {
            case 0: content.push_back(static_cast<Byte>(random())); break;  // more
            case 1: at += random() % 9; break;                              // fewer
            default:
                for (auto n = random() % 5; n > 0; --n) content.push_back(7), ++at;  // others
        }
    }
    ZSTD_CCtx* c = ZSTD_createCCtx();
    Bytes theirs(ZSTD_compressBound(content.size()));
    ZSTD_CCtx_setParameter(c, ZSTD_c_compressionLevel, 1);
    ZSTD_CCtx_setParameter(c, ZSTD_c_windowLog, 22);
    ZSTD_CCtx_setParameter(c, ZSTD_c_hashLog, 19);
    ZSTD_CCtx_refPrefix(c, old.data(), old.size());
    const std::size_t size = ZSTD_compress2(c, theirs.data(), theirs.size(), content.data(), content.size());
    ZSTD_freeCCtx(c);
    ASSERT_FALSE(ZSTD_isError(size));
    Press press;
    Buffer out;
    EXPECT_EQ(press.squeeze(content, ByteView(old), out), Form::delta);
    EXPECT_LE(out.view().size() - record_head_bytes, size * 11 / 10);
}

// Two contents that share nothing: a difference of them would only hide that they shrink alone.
TEST(Likeness, ContentsThatShareLittleAreKeptAlone) {
    Bytes old = noise(1 << 16, 5), content = noise(1 << 16, 6);
    for (std::size_t i = 0; i < content.size(); ++i)
        if (i % 512 > 128) old[i] = 1, content[i] = static_cast<Byte>(i / 512);
    Press press;
    Buffer out;
    EXPECT_EQ(press.squeeze(content, ByteView(old), out), Form::zstd);
    Likeness likeness;
    likeness.find(old, content);
    EXPECT_LT(likeness.from_prefix(), content.size() / 2);
    const Bytes again = old;
    likeness.find(old, again);
    EXPECT_EQ(likeness.from_prefix(), old.size());
}

}  // namespace
}  // namespace fettle::shelf
