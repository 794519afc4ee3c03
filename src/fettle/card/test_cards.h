// A made-up package of the example family and cards laid from it, for this room's tests.
#pragma once

#include <fmt/core.h>

#include <algorithm>
#include <cstdint>
#include <fstream>
#include <map>
#include <random>
#include <sstream>
#include <string>
#include <utility>
#include <vector>

#include "fettle/base/digest.h"
#include "fettle/base/ed25519.h"
#include "fettle/base/source_path.h"
#include "fettle/card/card.h"
#include "fettle/card/test_faulty_device.h"
#include "fettle/card/test_sparse_device.h"

namespace fettle::card::test {

using Content = std::pair<std::string, Bytes>;  // path, bytes

inline Bytes noise(std::uint64_t seed, std::size_t n) {
    std::mt19937_64 random(seed);
    Bytes out(n);
    for (std::size_t i = 0; i < n; ++i) out[i] = static_cast<Byte>(random());
    return out;
}

inline std::vector<SourceFile> sources(const std::vector<Content>& contents) {
    std::vector<SourceFile> out;
    for (const auto& c : contents)
        out.push_back({c.first, c.second.size(), sha256_hex(ByteView(c.second)),
                       [bytes = c.second](const Sink& sink) { return sink(bytes); }});
    return out;
}

struct Package {
    family::Family family;
    family::Release release;
    std::vector<Content> contents;  // index, signature, pieces
};

// The example family with a key of our own. Clusters of any size, so that a card in memory can be small.
// each_bytes: of every piece; 0: of various small sizes.
inline Package package(const std::string& name = "27.3.118", std::size_t pieces = 5, std::size_t each_bytes = 0) {
    Package p;
    auto loaded = family::load_family(source_path("families/dunnock.toml"));
    if (!loaded) throw std::runtime_error(loaded.error().message());
    p.family = std::move(*loaded);
    p.family.card->cluster_kib.clear();
    p.family.card->min_bytes = 0;
    const Bytes seed(32, 7);
    p.family.package->signature_key = hex(ed25519_public(seed));

    std::string items;
    std::vector<Content> piece_files;
    for (std::size_t i = 0; i < pieces; ++i) {
        const Bytes bytes = noise(i * 1000 + std::hash<std::string>()(name), each_bytes ? each_bytes : 700 + i * 3001);
        // A hundred in a folder: in one of thousands mtools takes minutes, and no maker does that.
        const std::string folder = pieces > 100 ? fmt::format("pieces/{}", i / 100) : "pieces";
        const std::string path = fmt::format("{}/System part {}.bin", folder, i);
        items += fmt::format(
            R"({}{{"name": "part-{}", "box": "main", "region": "system", "version": "{}", "file": "{}", "bytes": {}, "sha256": "{}"}})",
            i ? ", " : "", i, name, path, bytes.size(), sha256_hex(ByteView(bytes)));
        piece_files.emplace_back(path, bytes);
    }
    const std::string index = fmt::format(
        R"({{"family": "dunnock", "release": "{}", "markets": ["NS"], "installs_from": "26.4.102", "counter": 1, "pieces": [{}]}})",
        name, items);
    const ByteView raw = as_bytes(index);
    p.contents.emplace_back("release.json", Bytes(raw.begin(), raw.end()));
    p.contents.emplace_back("release.sig", ed25519_sign(seed, raw));
    p.contents.insert(p.contents.end(), piece_files.begin(), piece_files.end());
    auto release = family::read_index(p.family, index);
    if (!release) throw std::runtime_error(release.error().message());
    p.release = std::move(*release);
    p.release.index_path = "release.json";
    p.release.index_sha256 = sha256_hex(raw);
    return p;
}

inline constexpr std::uint64_t small_card = 36u << 20;

using card::SparseDevice;

inline std::string digest_of_extents(const Laid& laid, BlockDevice& d) {
    Sha256Stream s;
    for (const auto& e : laid.extents) {
        Bytes b(e.length);
        if (!d.read_at(e.at, b)) throw std::runtime_error("extent outside the device");
        s.update(b);
    }
    return hex(s.finish());
}

struct Card {
    MemoryDevice device;
    Laid laid;
};

inline Card lay_in_memory(const std::vector<Content>& contents, const family::CardRule& rule,
                          std::uint64_t size = small_card) {
    Card c{MemoryDevice(Bytes(size), true), {}};
    const auto g = plan_geometry(size, rule);
    if (!g) throw std::runtime_error(g.error().message());
    auto laid = lay(sources(contents), rule, *g, sha256_hex(std::string_view("release")), c.device);
    if (!laid) throw std::runtime_error(laid.error().message());
    c.laid = std::move(*laid);
    return c;
}

// A published table as rows of column → text; no cell of ours holds a quoted comma but the last ones.
inline std::vector<std::map<std::string, std::string>> table(const std::string& file) {
    std::ifstream in(source_path("tests/data/reference/") + file);
    std::vector<std::map<std::string, std::string>> rows;
    std::vector<std::string> head;
    for (std::string line; std::getline(in, line);) {
        std::vector<std::string> cells(1);
        bool quoted = false;
        for (const char c : line) {
            if (c == '"')
                quoted = !quoted;
            else if (c == ',' && !quoted)
                cells.emplace_back();
            else
                cells.back() += c;
        }
        if (head.empty()) {
            head = cells;
            continue;
        }
        auto& row = rows.emplace_back();
        for (std::size_t i = 0; i < head.size() && i < cells.size(); ++i) row[head[i]] = cells[i];
    }
    return rows;
}

inline const Reason* find(const Audit& a, const std::string& code) {
    for (const auto& r : a.judgement.reasons)
        if (r.code == code) return &r;
    return nullptr;
}

// What can be done is told with every finding: in its text, or as its next step.
inline bool has_next(const Reason& r) {
    static constexpr std::string_view told[] = {
        "ay it ",  "ay the ", "ay that",   "ake a",         "ake the",  "ake one",   "ake that",   "Get the",
        "Ask the", "ame the", "now where", "hold the card", "Hold the", "Clean the", "no need of", "It needs exFAT"};
    return r.verdict == Verdict::fit || !r.next.empty() ||
           std::any_of(std::begin(told), std::end(told),
                       [&](std::string_view t) { return r.text.find(t) != std::string::npos; });
}

// In their order; a finding without a next step is a fault of every test that meets it.
inline std::string codes(const Audit& a) {
    std::string out;
    for (const auto& r : a.judgement.reasons) {
        if (!has_next(r)) throw std::runtime_error("no next step: " + r.code + ": " + r.text);
        out += (out.empty() ? "" : " ") + r.code;
    }
    return out;
}

}  // namespace fettle::card::test
