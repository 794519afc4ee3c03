#include "fettle/standin/maker.h"

#include <fmt/format.h>

#include <algorithm>
#include <fstream>

#include "fettle/base/digest.h"
#include "fettle/base/ed25519.h"
#include "fettle/base/files.h"
#include "fettle/base/json.h"
#include "fettle/base/text.h"

namespace fettle::standin {

namespace fs = std::filesystem;

Bytes example_maker_seed() {
    const Sha256 d = sha256(as_bytes("Vellmoor example maker key, not a secret"));
    return Bytes(d.begin(), d.end());
}

namespace {

// Content that cannot be guessed from its neighbours and is the same everywhere: SHA-256 of a counter, in blocks.
class Content {
public:
    Content(const PieceSpec& p, std::uint64_t seed)
        : label_(fmt::format("{}|{}|{}|{}|", seed, p.box, p.name, p.version)), left_(p.bytes) {}
    // The next block of at most 1 MiB; empty at the end.
    Bytes next() {
        Bytes out;
        const auto want = static_cast<std::size_t>(std::min<std::uint64_t>(left_, 1u << 20));
        out.reserve(want + 32);
        while (out.size() < want) {
            if (fresh_ == 0) {  // one digest starts a cheap generator for the next 4 KiB
                const Sha256 d = sha256(as_bytes(label_ + std::to_string(block_++)));
                state_ = load_le64(d, 0) | 1;
                fresh_ = 512;
            }
            state_ ^= state_ << 13;
            state_ ^= state_ >> 7;
            state_ ^= state_ << 17;
            --fresh_;
            for (unsigned i = 0; i < 8; ++i) out.push_back(static_cast<Byte>(state_ >> (8 * i)));
        }
        out.resize(want);
        left_ -= want;
        return out;
    }

private:
    std::string label_;
    std::uint64_t left_, block_ = 0, state_ = 0;
    int fresh_ = 0;
};

// Sets a member by JSON pointer, making objects on the way. Only what the mapping names is written.
template <class T>
void put(json::object& into, const std::map<std::string, std::string>& fields, const char* field, T&& v) {
    const auto pointer = fields.find(field);
    if (pointer == fields.end() || pointer->second.size() < 2) return;
    auto parts = split(std::string_view(pointer->second).substr(1), '/');
    json::object* at = &into;
    for (std::size_t i = 0; i + 1 < parts.size(); ++i) {
        json::value& next = (*at)[parts[i]];
        if (!next.is_object()) next = json::object();
        at = &next.as_object();
    }
    (*at)[parts.back()] = json::value(std::forward<T>(v));
}

json::array texts(const std::vector<std::string>& list) {
    json::array out;
    for (const auto& t : list) out.emplace_back(t);
    return out;
}

std::string path_of(const PieceSpec& p) {
    return fmt::format("{}/{}.bin", p.box, p.name);
}

std::string index_text(const family::Family& f, const ReleaseSpec& spec,
                       const std::map<std::string, std::string>& digests) {
    const auto& rf = f.package->release_fields;
    const auto& pf = f.package->piece_fields;
    json::object o;
    put(o, rf, "family", f.id);
    put(o, rf, "release", spec.release);
    put(o, rf, "markets", texts(spec.markets));
    if (!spec.installs_from.empty()) put(o, rf, "installs_from", spec.installs_from);
    if (spec.counter) put(o, rf, "counter", *spec.counter);
    if (spec.one_way_door) put(o, rf, "one_way_door", true);
    put(o, rf, "cures", texts(spec.cures));
    json::array pieces;
    for (const auto& p : spec.pieces) {
        json::object x;
        put(x, pf, "name", p.name);
        put(x, pf, "box", p.box);
        put(x, pf, "region", p.region);
        put(x, pf, "version", p.version);
        put(x, pf, "file", path_of(p));
        put(x, pf, "size", p.bytes);
        put(x, pf, "sha256", digests.at(path_of(p)));
        if (!p.issues.empty()) put(x, pf, "issues", texts(p.issues));
        pieces.emplace_back(std::move(x));
    }
    put(o, rf, "pieces", std::move(pieces));
    return pretty(o);
}

Status usable(const family::Family& f) {
    if (f.package && f.package->form == "json" &&
        (f.package->signature_form == "ed25519" || f.package->signature_form.empty()))
        return {};
    return bad_input("no-package-rule", "family " + f.id, "it has no package rule that the example maker can write by",
                     "add [package] to the family file");
}

Status write_piece(const PieceSpec& p, std::uint64_t seed, const fs::path& file, std::string& digest) {
    if (auto made = make_folder(file.parent_path()); !made) return made;
    std::ofstream out(file, std::ios::binary | std::ios::trunc);
    Sha256Stream stream;
    Content content(p, seed);
    for (Bytes b = content.next(); !b.empty(); b = content.next()) {
        stream.update(b);
        out.write(reinterpret_cast<const char*>(b.data()), static_cast<std::streamsize>(b.size()));
    }
    out.close();
    if (!out)
        return outside_error("file-write-failed", file.string(), "it could not be written",
                             "check free space and rights of the folder");
    digest = hex(stream.finish());
    return {};
}

}  // namespace

Result<family::Release> make_package(const family::Family& f, const ReleaseSpec& spec, std::uint64_t seed,
                                     const fs::path& folder) {
    if (auto ok = usable(f); !ok) return pass(ok);
    std::error_code error;
    if (fs::exists(folder, error) && !fs::is_empty(folder, error))
        return bad_input("folder-not-empty", folder.string(), "there is something in it already", "name a new folder");
    if (auto made = make_folder(folder); !made) return pass(made);
    std::map<std::string, std::string> digests;
    for (const auto& p : spec.pieces)
        if (auto ok = write_piece(p, seed, folder / path_of(p), digests[path_of(p)]); !ok) return pass(ok);
    const std::string text = index_text(f, spec, digests);
    if (f.package->signature_form == "ed25519") {
        const Bytes signature = ed25519_sign(example_maker_seed(), as_bytes(text));
        if (auto ok = write_file_durably(folder / f.package->signature_file, as_text(signature)); !ok) return pass(ok);
    }
    if (auto ok = write_file_durably(folder / f.package->index, text); !ok) return pass(ok);
    return family::read_index(f, text);
}

Result<family::Release> describe(const family::Family& f, const ReleaseSpec& spec, std::uint64_t seed) {
    if (auto ok = usable(f); !ok) return pass(ok);
    std::map<std::string, std::string> digests;
    for (const auto& p : spec.pieces) {
        Sha256Stream stream;
        Content content(p, seed);
        for (Bytes b = content.next(); !b.empty(); b = content.next()) stream.update(b);
        digests[path_of(p)] = hex(stream.finish());
    }
    return family::read_index(f, index_text(f, spec, digests));
}

Result<std::vector<family::Release>> make_history(const family::Family& f, const std::vector<ReleaseSpec>& specs,
                                                  std::uint64_t seed, const fs::path& folder) {
    std::vector<family::Release> out;
    for (const auto& spec : specs) {
        auto r = make_package(f, spec, seed, folder / spec.release);
        if (!r) return pass(r);
        out.push_back(std::move(*r));
    }
    return out;
}

}  // namespace fettle::standin
