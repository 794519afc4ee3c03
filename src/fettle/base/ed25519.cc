#include "fettle/base/ed25519.h"

#include <openssl/evp.h>
#include <openssl/rand.h>

#include <memory>
#include <stdexcept>

#include "fettle/base/digest.h"

namespace fettle {
namespace {

struct KeyFree {
    void operator()(EVP_PKEY* k) const { EVP_PKEY_free(k); }
};
struct MdFree {
    void operator()(EVP_MD_CTX* c) const { EVP_MD_CTX_free(c); }
};
using Key = std::unique_ptr<EVP_PKEY, KeyFree>;
using Ctx = std::unique_ptr<EVP_MD_CTX, MdFree>;

Key secret_key(ByteView seed) {
    if (seed.size() != 32) throw std::invalid_argument("an Ed25519 seed has 32 bytes");
    Key key(EVP_PKEY_new_raw_private_key(EVP_PKEY_ED25519, nullptr, seed.data(), seed.size()));
    if (!key) throw std::logic_error("OpenSSL refused an Ed25519 seed");
    return key;
}

}  // namespace

bool ed25519_verify(ByteView public_key, ByteView message, ByteView signature) {
    if (public_key.size() != 32 || signature.size() != 64) return false;
    const Key key(EVP_PKEY_new_raw_public_key(EVP_PKEY_ED25519, nullptr, public_key.data(), public_key.size()));
    const Ctx ctx(EVP_MD_CTX_new());
    if (!key || !ctx || EVP_DigestVerifyInit(ctx.get(), nullptr, nullptr, nullptr, key.get()) != 1) return false;
    return EVP_DigestVerify(ctx.get(), signature.data(), signature.size(), message.data(), message.size()) == 1;
}

Bytes ed25519_public(ByteView seed) {
    const Key key = secret_key(seed);
    Bytes out(32);
    std::size_t length = out.size();
    if (EVP_PKEY_get_raw_public_key(key.get(), out.data(), &length) != 1) throw std::logic_error("no public key");
    return out;
}

Bytes ed25519_sign(ByteView seed, ByteView message) {
    const Key key = secret_key(seed);
    const Ctx ctx(EVP_MD_CTX_new());
    Bytes out(64);
    std::size_t length = out.size();
    if (!ctx || EVP_DigestSignInit(ctx.get(), nullptr, nullptr, nullptr, key.get()) != 1 ||
        EVP_DigestSign(ctx.get(), out.data(), &length, message.data(), message.size()) != 1)
        throw std::logic_error("OpenSSL could not sign");
    return out;
}

Bytes ed25519_new_seed() {
    Bytes seed(32);
    if (RAND_bytes(seed.data(), 32) != 1) throw std::runtime_error("the system's random source failed");
    return seed;
}

std::string key_fingerprint(ByteView public_key) {
    const std::string h = sha256_hex(public_key).substr(0, 16);
    return h.substr(0, 4) + " " + h.substr(4, 4) + " " + h.substr(8, 4) + " " + h.substr(12, 4);
}

}  // namespace fettle
