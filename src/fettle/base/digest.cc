#include "fettle/base/digest.h"

#include <openssl/evp.h>

#include <fstream>
#include <stdexcept>
#include <vector>

namespace fettle {
namespace {

void must(int ok) {
    if (ok != 1) throw std::logic_error("OpenSSL refused a digest operation");
}

struct MdFree {
    void operator()(EVP_MD_CTX* c) const { EVP_MD_CTX_free(c); }
};

constexpr std::array<std::uint32_t, 256> crc_table() {
    std::array<std::uint32_t, 256> t{};
    for (std::uint32_t i = 0; i < 256; ++i) {
        std::uint32_t c = i;
        for (int k = 0; k < 8; ++k) c = (c & 1) ? 0xEDB88320u ^ (c >> 1) : c >> 1;
        t[i] = c;
    }
    return t;
}

}  // namespace

struct Sha256Stream::State {
    std::unique_ptr<EVP_MD_CTX, MdFree> ctx{EVP_MD_CTX_new()};
};

Sha256Stream::Sha256Stream() : state_(std::make_unique<State>()) {
    must(EVP_DigestInit_ex(state_->ctx.get(), EVP_sha256(), nullptr));
}
Sha256Stream::~Sha256Stream() = default;
Sha256Stream::Sha256Stream(Sha256Stream&&) noexcept = default;
Sha256Stream& Sha256Stream::operator=(Sha256Stream&&) noexcept = default;
void Sha256Stream::update(ByteView b) {
    must(EVP_DigestUpdate(state_->ctx.get(), b.data(), b.size()));
}
Sha256 Sha256Stream::finish() {
    Sha256 out{};
    unsigned length = 0;
    must(EVP_DigestFinal_ex(state_->ctx.get(), out.data(), &length));
    must(EVP_DigestInit_ex(state_->ctx.get(), EVP_sha256(), nullptr));
    return out;
}

Sha256 sha256(ByteView b) {
    Sha256 out{};
    unsigned length = 0;
    must(EVP_Digest(b.data(), b.size(), out.data(), &length, EVP_sha256(), nullptr));
    return out;
}
std::string sha256_hex(ByteView b) {
    return hex(sha256(b));
}
std::string sha256_hex(std::string_view text) {
    return sha256_hex(as_bytes(text));
}

Result<std::string> sha256_hex_of_file(const std::filesystem::path& path) {
    std::ifstream in(path, std::ios::binary);
    if (!in)
        return bad_input("file-unreadable", path.string(), "cannot be opened for reading",
                         "check the path and its rights");
    Sha256Stream stream;
    std::vector<char> block(1 << 20);
    while (in) {
        in.read(block.data(), static_cast<std::streamsize>(block.size()));
        const auto got = static_cast<std::size_t>(in.gcount());
        stream.update(as_bytes({block.data(), got}));
    }
    if (in.bad())
        return outside_error("file-read-failed", path.string(), "reading stopped before the end", "check the medium");
    return hex(stream.finish());
}

struct DigestStream::State {
    std::unique_ptr<EVP_MD_CTX, MdFree> ctx;  // empty: CRC-32
    std::uint32_t crc = 0;
};

DigestStream::DigestStream(std::unique_ptr<State> state) : state_(std::move(state)) {}
DigestStream::~DigestStream() = default;
DigestStream::DigestStream(DigestStream&&) noexcept = default;
DigestStream& DigestStream::operator=(DigestStream&&) noexcept = default;

Result<DigestStream> DigestStream::make(std::string_view algorithm) {
    auto state = std::make_unique<State>();
    if (algorithm == "crc32") return DigestStream(std::move(state));
    const EVP_MD* md = algorithm == "sha256"   ? EVP_sha256()
                       : algorithm == "sha512" ? EVP_sha512()
                       : algorithm == "sha1"   ? EVP_sha1()
                       : algorithm == "md5"    ? EVP_md5()
                                               : nullptr;
    if (!md)
        return bad_input("digest-unknown", std::string(algorithm), "no digest of that name",
                         "use sha256, sha512, sha1, md5 or crc32");
    state->ctx.reset(EVP_MD_CTX_new());
    must(EVP_DigestInit_ex(state->ctx.get(), md, nullptr));
    return DigestStream(std::move(state));
}

void DigestStream::update(ByteView b) {
    if (state_->ctx)
        must(EVP_DigestUpdate(state_->ctx.get(), b.data(), b.size()));
    else
        state_->crc = crc32(b, state_->crc);
}

std::string DigestStream::finish() {
    if (!state_->ctx) {
        Bytes out;
        append_be32(out, state_->crc);
        return hex(out);
    }
    std::array<Byte, EVP_MAX_MD_SIZE> out{};
    unsigned length = 0;
    must(EVP_DigestFinal_ex(state_->ctx.get(), out.data(), &length));
    return hex(ByteView(out).first(length));
}

Result<std::string> digest_hex(std::string_view algorithm, ByteView b) {
    auto stream = DigestStream::make(algorithm);
    if (!stream) return pass(stream);
    stream->update(b);
    return stream->finish();
}

std::uint32_t crc32(ByteView b, std::uint32_t before) {
    static constexpr auto table = crc_table();
    std::uint32_t c = ~before;
    for (const Byte x : b) c = table[(c ^ x) & 0xFF] ^ (c >> 8);
    return ~c;
}

}  // namespace fettle
