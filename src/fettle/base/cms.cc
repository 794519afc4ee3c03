// The signature over the bytes and the chain of certificates are checked apart, so that the two can be told apart, and
// the chain without its dates: whether an expired certificate matters depends on a time that nobody here can prove.
#include "fettle/base/cms.h"

#include <openssl/bio.h>
#include <openssl/cms.h>
#include <openssl/err.h>
#include <openssl/pem.h>
#include <openssl/x509v3.h>
#include <time.h>

#include <algorithm>
#include <memory>
#include <new>
#include <optional>

#include "fettle/base/ed25519.h"

namespace fettle {
namespace {

template <auto F>
struct Free {
    template <class T>
    void operator()(T* p) const {
        F(p);
    }
};
void free_certificates(STACK_OF(X509) * s) {
    sk_X509_pop_free(s, X509_free);
}
using Bio = std::unique_ptr<BIO, Free<BIO_free>>;
using Cms = std::unique_ptr<CMS_ContentInfo, Free<CMS_ContentInfo_free>>;
using Certificate = std::unique_ptr<X509, Free<X509_free>>;
using Certificates = std::unique_ptr<STACK_OF(X509), Free<free_certificates>>;
using Store = std::unique_ptr<X509_STORE, Free<X509_STORE_free>>;
using Context = std::unique_ptr<X509_STORE_CTX, Free<X509_STORE_CTX_free>>;

constexpr int longest_chain = 8;
constexpr int security_level = 2;  // OpenSSL's levels: 112 bits, so RSA from 2048 bits on and nothing with SHA-1 or MD5

Bio reading(ByteView b) {
    return Bio(BIO_new_mem_buf(b.data(), static_cast<int>(b.size())));
}

// What OpenSSL said last, and its queue left empty for the next caller.
std::string last_reason() {
    const char* said = ERR_reason_error_string(ERR_peek_last_error());
    std::string out = said ? said : "no reason given";
    ERR_clear_error();
    return out;
}

UnixMs unix_ms(const ASN1_TIME* t) {
    tm parts{};
    if (!t || ASN1_TIME_to_tm(t, &parts) != 1) return 0;
    return static_cast<UnixMs>(timegm(&parts)) * 1000;
}

std::string name_of(const X509* x) {
    X509_NAME* name = X509_get_subject_name(x);
    const int at = X509_NAME_get_index_by_NID(name, NID_commonName, -1);
    if (at >= 0) {
        unsigned char* text = nullptr;
        const int size = ASN1_STRING_to_UTF8(&text, X509_NAME_ENTRY_get_data(X509_NAME_get_entry(name, at)));
        if (size >= 0) {
            std::string out(reinterpret_cast<char*>(text), static_cast<std::size_t>(size));
            OPENSSL_free(text);
            return out;
        }
    }
    char line[512];
    return X509_NAME_oneline(name, line, sizeof line) ? line : "";
}

CertificateFacts facts_of(const X509* x) {
    CertificateFacts f;
    f.subject = name_of(x);
    unsigned char* der = nullptr;
    const int size = i2d_X509(const_cast<X509*>(x), &der);
    if (size > 0) f.fingerprint = key_fingerprint({der, static_cast<std::size_t>(size)});
    OPENSSL_free(der);
    f.not_before = unix_ms(X509_get0_notBefore(x));
    f.not_after = unix_ms(X509_get0_notAfter(x));
    return f;
}

Certificate from_pem(std::string_view pem) {
    const Bio bio = reading(as_bytes(pem));
    return Certificate(PEM_read_bio_X509(bio.get(), nullptr, nullptr, nullptr));
}

Cms parse(ByteView signature) {
    if (signature.size() > std::size_t{1} << 20) return nullptr;
    Bio bio = reading(signature);
    Cms cms(d2i_CMS_bio(bio.get(), nullptr));
    if (cms) {
        // Bytes behind the signature that nobody vouches for.
        if (BIO_ctrl_pending(bio.get()) != 0) cms.reset();
        return cms;
    }
    bio = reading(signature);
    unsigned char* der = nullptr;
    long size = 0;
    if (PEM_bytes_read_bio(&der, &size, nullptr, PEM_STRING_CMS, bio.get(), nullptr, nullptr) != 1) return nullptr;
    const unsigned char* at = der;
    cms.reset(d2i_CMS_ContentInfo(nullptr, &at, size));
    OPENSSL_free(der);
    return cms;
}

CmsAnswer answer(CmsState state, std::string why) {
    ERR_clear_error();
    CmsAnswer a;
    a.state = state;
    a.why = std::move(why);
    return a;
}

// A certificate made to sign something else (a web server's, say) signs no release.
bool may_sign(X509* x) {
    const std::uint32_t flags = X509_get_extension_flags(x);
    if (flags & EXFLAG_INVALID) return false;
    if ((flags & EXFLAG_KUSAGE) && !(X509_get_key_usage(x) & (KU_DIGITAL_SIGNATURE | KU_NON_REPUDIATION))) return false;
    if ((flags & EXFLAG_XKUSAGE) && !(X509_get_extended_key_usage(x) & (XKU_CODE_SIGN | XKU_SMIME | XKU_ANYEKU)))
        return false;
    return true;
}

bool strong_digest(CMS_SignerInfo* info) {
    X509_ALGOR* digest = nullptr;
    CMS_SignerInfo_get0_algs(info, nullptr, nullptr, &digest, nullptr);
    const ASN1_OBJECT* object = nullptr;
    X509_ALGOR_get0(&object, nullptr, nullptr, digest);
    const int nid = OBJ_obj2nid(object);
    return nid == NID_sha256 || nid == NID_sha384 || nid == NID_sha512 || nid == NID_sha3_256 || nid == NID_sha3_384 ||
           nid == NID_sha3_512;
}

void narrow(CmsAnswer& a, const STACK_OF(X509) * chain) {
    for (int i = 0; i < sk_X509_num(chain); ++i) {
        const CertificateFacts f = facts_of(sk_X509_value(chain, i));
        if (a.ends_first.fingerprint.empty() || f.not_after < a.ends_first.not_after) a.ends_first = f;
        if (a.begins_last.fingerprint.empty() || f.not_before > a.begins_last.not_before) a.begins_last = f;
    }
}

// The chain of one signer, dates aside. Fills the dates of `a`; an answer when it does not lead where it must.
std::optional<CmsAnswer> check_chain(X509* signer, X509_STORE* store, STACK_OF(X509) * others, CmsAnswer& a) {
    const Context context(X509_STORE_CTX_new());
    if (!context || X509_STORE_CTX_init(context.get(), store, signer, others) != 1)
        return answer(CmsState::unknown_signer, last_reason());
    X509_VERIFY_PARAM* param = X509_STORE_CTX_get0_param(context.get());
    X509_VERIFY_PARAM_set_flags(param, X509_V_FLAG_NO_CHECK_TIME | X509_V_FLAG_PARTIAL_CHAIN);
    X509_VERIFY_PARAM_set_purpose(param, X509_PURPOSE_ANY);
    X509_VERIFY_PARAM_set_depth(param, longest_chain);
    X509_VERIFY_PARAM_set_auth_level(param, security_level);
    if (X509_verify_cert(context.get()) != 1) {
        const int code = X509_STORE_CTX_get_error(context.get());
        const bool weak = code == X509_V_ERR_EE_KEY_TOO_SMALL || code == X509_V_ERR_CA_KEY_TOO_SMALL ||
                          code == X509_V_ERR_CA_MD_TOO_WEAK;
        return answer(weak ? CmsState::weak : CmsState::unknown_signer,
                      "the certificate of \"" + name_of(signer) + "\": " + X509_verify_cert_error_string(code));
    }
    if (!may_sign(signer))
        return answer(CmsState::unknown_signer,
                      "the certificate of \"" + name_of(signer) + "\" was not issued for signing such things");
    narrow(a, X509_STORE_CTX_get0_chain(context.get()));
    return std::nullopt;
}

}  // namespace

Result<CertificateFacts> certificate_facts(std::string_view pem) {
    const Certificate x = from_pem(pem);
    ERR_clear_error();
    if (!x)
        return bad_input("certificate-unreadable", "certificate", "is no X.509 certificate in PEM",
                         "copy it whole, from -----BEGIN CERTIFICATE----- to -----END CERTIFICATE-----");
    return facts_of(x.get());
}

CmsAnswer cms_check(ByteView signature, ByteView content, const std::vector<std::string>& trusted) {
    const Cms cms = parse(signature);
    ERR_clear_error();
    if (!cms || OBJ_obj2nid(CMS_get0_type(cms.get())) != NID_pkcs7_signed)
        return answer(CmsState::not_cms, "it is no CMS signature in DER or PEM");
    if (CMS_is_detached(cms.get()) != 1)
        return answer(CmsState::not_cms, "it carries a content of its own; a detached signature was expected");
    STACK_OF(CMS_SignerInfo)* infos = CMS_get0_SignerInfos(cms.get());
    if (sk_CMS_SignerInfo_num(infos) < 1) return answer(CmsState::not_cms, "nobody signed it");

    const Store store(X509_STORE_new());
    const Certificates anchors(sk_X509_new_null());
    if (!store || !anchors) throw std::bad_alloc();
    for (const std::string& pem : trusted) {
        Certificate x = from_pem(pem);
        if (!x) continue;
        X509_STORE_add_cert(store.get(), x.get());
        sk_X509_push(anchors.get(), x.release());
    }
    ERR_clear_error();

    const Bio text = reading(content);
    if (CMS_verify(cms.get(), anchors.get(), nullptr, text.get(), nullptr, CMS_BINARY | CMS_NO_SIGNER_CERT_VERIFY) !=
        1) {
        const bool missing = ERR_GET_REASON(ERR_peek_last_error()) == CMS_R_SIGNER_CERTIFICATE_NOT_FOUND;
        return answer(missing ? CmsState::unknown_signer : CmsState::altered, last_reason());
    }
    const Certificates others(CMS_get1_certs(cms.get()));
    CmsAnswer good;
    good.state = CmsState::good;
    for (int i = 0; i < sk_CMS_SignerInfo_num(infos); ++i) {
        CMS_SignerInfo* info = sk_CMS_SignerInfo_value(infos, i);
        X509* signer = nullptr;
        CMS_SignerInfo_get0_algs(info, nullptr, &signer, nullptr, nullptr);
        if (!signer) return answer(CmsState::unknown_signer, "a signer's certificate is not there");
        if (!strong_digest(info)) return answer(CmsState::weak, "its digest is weaker than SHA-256");
        if (auto bad = check_chain(signer, store.get(), others.get(), good)) return std::move(*bad);
        CertificateFacts f = facts_of(signer);
        if (std::none_of(good.signers.begin(), good.signers.end(),
                         [&](const CertificateFacts& s) { return s.fingerprint == f.fingerprint; }))
            good.signers.push_back(std::move(f));
    }
    ERR_clear_error();
    return good;
}

}  // namespace fettle
