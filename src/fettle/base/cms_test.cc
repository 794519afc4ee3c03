// Signatures made by the openssl program with its own small certificate authority; nothing here signs by our code.
#include "fettle/base/cms.h"

#include <gtest/gtest.h>
#include <unistd.h>

#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <sstream>

#ifdef __has_feature
#if __has_feature(address_sanitizer)
#include <sanitizer/lsan_interface.h>
#endif
#endif

namespace fettle {
namespace {

namespace fs = std::filesystem;

// One authority for the whole binary: a root, one below it, signers of several kinds. Keys on P-256: quick to make.
class Authority {
public:
    static const Authority& get() {
        static const Authority a;
        return a;
    }
    std::string pem(const std::string& name) const { return read(name + ".pem"); }
    std::string sign(const std::string& content, const std::string& signer, const std::string& more = "") const {
        std::ofstream(at_ / "content", std::ios::binary) << content;
        run("openssl cms -sign -binary -in content -outform DER -out sig -signer " + signer + ".pem -inkey " + signer +
            ".key " + more);
        return read("sig");
    }
    ~Authority() { fs::remove_all(at_); }

private:
    Authority() {
        std::string pattern = (fs::temp_directory_path() / "fettle-cms-XXXXXX").string();
        at_ = mkdtemp(pattern.data());
        root("root", "Vellmoor root");
        root("stranger-root", "Vellmoor root");  // the same name, another key
        issued("sub", "Vellmoor releases", "root", "basicConstraints=critical,CA:TRUE\nkeyUsage=critical,keyCertSign");
        issued("signer", "Vellmoor release signing", "sub",
               "keyUsage=critical,digitalSignature\nextendedKeyUsage=codeSigning");
        issued("second", "Vellmoor second signer", "sub", "keyUsage=critical,digitalSignature");
        issued("web", "www.vellmoor.example", "sub", "extendedKeyUsage=serverAuth");
        issued("below-signer", "Vellmoor release signing", "signer", "keyUsage=critical,digitalSignature");
        issued("stranger", "Vellmoor release signing", "stranger-root", "keyUsage=critical,digitalSignature");
        issued("expired", "Vellmoor old signer", "sub", "keyUsage=critical,digitalSignature", true);
        run("openssl genpkey -algorithm RSA -pkeyopt rsa_keygen_bits:1024 -out short.key");
        issued("short", "Vellmoor short key", "sub", "keyUsage=critical,digitalSignature", false, false);
        run("cat sub.pem signer.pem > chain-below.pem");
    }
    void key(const std::string& name) const {
        run("openssl genpkey -algorithm EC -pkeyopt ec_paramgen_curve:P-256 -out " + name + ".key");
    }
    void root(const std::string& name, const std::string& subject) const {
        key(name);
        run("openssl req -x509 -new -key " + name + ".key -days 3650 -subj '/CN=" + subject + "' -out " + name +
            ".pem");
    }
    // What has ended is made by `openssl ca`, which alone takes dates.
    void issued(const std::string& name, const std::string& subject, const std::string& by,
                const std::string& extensions, bool ended = false, bool make_key = true) const {
        if (make_key) key(name);
        std::ofstream(at_ / (name + ".ext")) << extensions << "\n";
        run("openssl req -new -key " + name + ".key -subj '/CN=" + subject + "' -out " + name + ".csr");
        if (!ended) {
            run("openssl x509 -req -in " + name + ".csr -CA " + by + ".pem -CAkey " + by +
                ".key -CAcreateserial -days 3000 " + "-extfile " + name + ".ext -out " + name + ".pem");
            return;
        }
        std::ofstream(at_ / "ca.cnf") << "[ca]\ndefault_ca=d\n[d]\nnew_certs_dir=.\ndatabase=db\nserial=ca.srl\n"
                                         "default_md=sha256\npolicy=p\n[p]\ncommonName=supplied\n";
        std::ofstream(at_ / "db");
        std::ofstream(at_ / "ca.srl") << "4242\n";
        run("openssl ca -batch -config ca.cnf -in " + name + ".csr -cert " + by + ".pem -keyfile " + by +
            ".key -startdate " + "190101000000Z -enddate 200101000000Z -extfile " + name + ".ext -notext -out " + name +
            ".pem");
    }
    void run(const std::string& command) const {
        const std::string all = "cd '" + at_.string() + "' && (" + command + ") >out 2>&1";
        if (std::system(all.c_str()) != 0) ADD_FAILURE() << command << "\n" << read("out");
    }
    std::string read(const std::string& name) const {
        std::ifstream in(at_ / name, std::ios::binary);
        std::stringstream s;
        s << in.rdbuf();
        return s.str();
    }
    fs::path at_;
};

const std::string content = "<contents release=\"27.3.118\"/>\r\n";  // a line end that text modes would change

CmsAnswer check(const std::string& signature, const std::vector<std::string>& trusted,
                const std::string& text = content) {
    return cms_check(as_bytes(signature), as_bytes(text), trusted);
}

TEST(Cms, ASignatureWithItsChainHolds) {
    const auto& a = Authority::get();
    const CmsAnswer r = check(a.sign(content, "signer", "-certfile sub.pem"), {a.pem("root")});
    ASSERT_EQ(r.state, CmsState::good) << r.why;
    ASSERT_EQ(r.signers.size(), 1u);
    EXPECT_EQ(r.signers[0].subject, "Vellmoor release signing");
    EXPECT_EQ(r.signers[0].fingerprint.size(), 19u);
    EXPECT_LT(r.begins_last.not_before, r.ends_first.not_after);
    // PEM as well; and the chain may end below the root, or at the signer's own certificate.
    EXPECT_EQ(check(a.sign(content, "signer", "-certfile sub.pem -outform PEM"), {a.pem("root")}).state,
              CmsState::good);
    EXPECT_EQ(check(a.sign(content, "signer"), {a.pem("sub")}).state, CmsState::good);
    EXPECT_EQ(check(a.sign(content, "signer"), {a.pem("signer")}).state, CmsState::good);
    EXPECT_EQ(check(a.sign(content, "signer", "-nocerts"), {a.pem("signer"), a.pem("sub")}).state, CmsState::good);
    EXPECT_EQ(check(a.sign(content, "signer", "-noattr -certfile sub.pem"), {a.pem("root")}).state, CmsState::good);
    EXPECT_EQ(check(a.sign(content, "signer", "-md sha512 -certfile sub.pem"), {a.pem("root")}).state, CmsState::good);
}

TEST(Cms, AnyChangedByteOfTheContentIsSeen) {
    const auto& a = Authority::get();
    const std::string signature = a.sign(content, "signer", "-certfile sub.pem");
    for (std::size_t i = 0; i < content.size(); ++i) {
        std::string changed = content;
        changed[i] ^= 1;
        EXPECT_EQ(check(signature, {a.pem("root")}, changed).state, CmsState::altered) << i;
    }
    EXPECT_EQ(check(signature, {a.pem("root")}, content + " ").state, CmsState::altered);
    EXPECT_EQ(check(signature, {a.pem("root")}, "").state, CmsState::altered);
}

// OpenSSL 3.0's CMS_verify loses a buffer of its own over some damaged signatures; the leak checker is not to tell of
// it.
struct LeaksOfOpenssl {
#ifdef __has_feature
#if __has_feature(address_sanitizer)
    LeaksOfOpenssl() { __lsan_disable(); }
    ~LeaksOfOpenssl() { __lsan_enable(); }
#endif
#endif
};

TEST(Cms, NoChangedByteOfTheSignatureIsGood) {
    [[maybe_unused]] const LeaksOfOpenssl not_told{};
    const auto& a = Authority::get();
    const std::string signature = a.sign(content, "signer", "-noattr -certfile sub.pem");
    std::size_t good = 0;
    for (std::size_t i = 0; i < signature.size(); i += 3) {
        std::string changed = signature;
        changed[i] ^= 1;
        // A byte that means nothing to the signature may change (a certificate that is not needed, an encoding of a
        // length); but then the same signer signed the same content.
        const CmsAnswer r = check(changed, {a.pem("root")});
        if (r.state != CmsState::good) continue;
        ++good;
        EXPECT_EQ(r.signers.at(0).subject, "Vellmoor release signing");
    }
    EXPECT_LT(good, signature.size() / 50);
    for (std::size_t n = 0; n < signature.size(); n += 31)
        EXPECT_NE(check(signature.substr(0, n), {a.pem("root")}).state, CmsState::good) << n;
    EXPECT_EQ(check(signature + "x", {a.pem("root")}).state, CmsState::not_cms);
}

TEST(Cms, WhoMayNotSignIsNotTaken) {
    const auto& a = Authority::get();
    const std::string root = a.pem("root");
    struct {
        const char *signer, *more;
        CmsState state;
    } cases[] = {
        {"signer", "", CmsState::unknown_signer},                                 // the certificate between is missing
        {"stranger", "-certfile stranger-root.pem", CmsState::unknown_signer},    // the same names, another root
        {"web", "-certfile sub.pem", CmsState::unknown_signer},                   // made for something else
        {"below-signer", "-certfile chain-below.pem", CmsState::unknown_signer},  // issued by who may not issue
        {"signer", "-certfile sub.pem -nodetach", CmsState::not_cms},             // carries its own content
        {"signer", "-certfile sub.pem -md sha1", CmsState::weak},
        {"short", "-certfile sub.pem", CmsState::weak},
    };
    for (const auto& c : cases) {
        const CmsAnswer r = check(a.sign(content, c.signer, c.more), {root});
        EXPECT_EQ(r.state, c.state) << c.signer << " " << c.more << ": " << r.why;
        EXPECT_FALSE(r.why.empty());
        EXPECT_TRUE(r.signers.empty());
    }
    EXPECT_NE(check(a.sign(content, "signer", "-certfile sub.pem"), {}).state, CmsState::good);
    EXPECT_EQ(check("", {root}).state, CmsState::not_cms);
    EXPECT_EQ(check("hello", {root}).state, CmsState::not_cms);
    EXPECT_EQ(check(root, {root}).state, CmsState::not_cms);
}

TEST(Cms, AllSignersMustHold) {
    const auto& a = Authority::get();
    const std::string both = a.sign(content, "signer", "-certfile sub.pem -signer second.pem -inkey second.key");
    EXPECT_EQ(check(both, {a.pem("root")}).signers.size(), 2u);
    const std::string one_strange =
        a.sign(content, "signer", "-certfile sub.pem -signer stranger.pem -inkey stranger.key");
    EXPECT_EQ(check(one_strange, {a.pem("root")}).state, CmsState::unknown_signer);
}

TEST(Cms, DatesAreToldNotJudged) {
    const auto& a = Authority::get();
    const CmsAnswer r = check(a.sign(content, "expired", "-certfile sub.pem"), {a.pem("root")});
    ASSERT_EQ(r.state, CmsState::good) << r.why;
    EXPECT_EQ(r.ends_first.subject, "Vellmoor old signer");
    EXPECT_EQ(iso8601(r.ends_first.not_after).substr(0, 19), "2020-01-01T00:00:00");
    EXPECT_EQ(certificate_facts(a.pem("expired"))->not_before, parse_iso8601("2019-01-01T00:00:00Z"));
    EXPECT_EQ(certificate_facts("no").error().code, "certificate-unreadable");
}

}  // namespace
}  // namespace fettle
