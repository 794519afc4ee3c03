// The example maker's signatures. Its keys are the SHA-256 of public sentences: anybody may sign with them, which is
// the point, and nothing real may ever rest on one. The root's key, which certified the CMS signer, was thrown away.
#include <openssl/bio.h>
#include <openssl/cms.h>
#include <openssl/evp.h>
#include <openssl/pem.h>
#include <openssl/x509.h>

#include <memory>
#include <stdexcept>

#include "fettle/base/digest.h"
#include "fettle/base/ed25519.h"
#include "fettle/standin/write_index.h"

namespace fettle::standin {

namespace {

template <auto F>
struct Free {
    template <class T>
    void operator()(T* p) const {
        F(p);
    }
};
using Bio = std::unique_ptr<BIO, Free<BIO_free>>;
using Key = std::unique_ptr<EVP_PKEY, Free<EVP_PKEY_free>>;
using Certificate = std::unique_ptr<X509, Free<X509_free>>;
using Cms = std::unique_ptr<CMS_ContentInfo, Free<CMS_ContentInfo_free>>;

// "Vellmoor example release signing", below the root that stands in families/brill.toml.
constexpr char signer_certificate[] = R"(-----BEGIN CERTIFICATE-----
MIIB7DCCAZOgAwIBAgIBAzAKBggqhkjOPQQDAjA+MRwwGgYDVQQKDBNWZWxsbW9v
ciAoaW52ZW50ZWQpMR4wHAYDVQQDDBVWZWxsbW9vciBleGFtcGxlIHJvb3QwIBcN
MjAwMTAxMDAwMDAwWhgPMjA5OTEyMzEyMzU5NTlaMEkxHDAaBgNVBAoME1ZlbGxt
b29yIChpbnZlbnRlZCkxKTAnBgNVBAMMIFZlbGxtb29yIGV4YW1wbGUgcmVsZWFz
ZSBzaWduaW5nMFkwEwYHKoZIzj0CAQYIKoZIzj0DAQcDQgAEHESfFi1eT0mOw0qv
UXtVfUWEgGMj2Ju74pYqrBufKiMVlYwDUv3nArWER+8O7dZim6+fFpflG76g1lsf
3/b63aN1MHMwDAYDVR0TAQH/BAIwADAOBgNVHQ8BAf8EBAMCB4AwEwYDVR0lBAww
CgYIKwYBBQUHAwMwHQYDVR0OBBYEFDUKsPQj/v00e95X/zAy5RTZdbK5MB8GA1Ud
IwQYMBaAFPzzK6WSlnHpwifrqILPojKLP99XMAoGCCqGSM49BAMCA0cAMEQCIFlF
uNF7hP82776mubaqrgtr5LXPreFqmHSFvafxGuIsAiBIkLYmyh8PScAZjZhOjQRD
ExWg0oEwScLF17REGa6qyA==
-----END CERTIFICATE-----
)";

// RFC 5915: an ECPrivateKey on P-256 from its 32 bytes; the public half follows from them.
Key signer_key() {
    const Sha256 scalar = sha256(as_bytes("Vellmoor example release signing, not a secret"));
    Bytes der = unhex("30310201010420").value();
    append(der, scalar);
    append(der, unhex("a00a06082a8648ce3d030107").value());
    const unsigned char* at = der.data();
    return Key(d2i_AutoPrivateKey(nullptr, &at, static_cast<long>(der.size())));
}

Bytes cms_signature(std::string_view index) {
    const Bio pem(BIO_new_mem_buf(signer_certificate, -1));
    const Certificate certificate(PEM_read_bio_X509(pem.get(), nullptr, nullptr, nullptr));
    const Key key = signer_key();
    const Bio content(BIO_new_mem_buf(index.data(), static_cast<int>(index.size())));
    const Cms cms(CMS_sign(certificate.get(), key.get(), nullptr, content.get(), CMS_DETACHED | CMS_BINARY));
    unsigned char* der = nullptr;
    const int size = cms ? i2d_CMS_ContentInfo(cms.get(), &der) : -1;
    if (size <= 0) throw std::logic_error("the example maker could not sign");
    Bytes out(der, der + size);
    OPENSSL_free(der);
    return out;
}

}  // namespace

Bytes example_maker_seed() {
    const Sha256 d = sha256(as_bytes("Vellmoor example maker key, not a secret"));
    return Bytes(d.begin(), d.end());
}

Bytes index_signature(const family::PackageRule& rule, std::string_view index) {
    if (rule.signature_form == "cms") return cms_signature(index);
    if (rule.signature_form == "ed25519") return ed25519_sign(example_maker_seed(), as_bytes(index));
    return {};
}

}  // namespace fettle::standin
