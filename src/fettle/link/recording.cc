// Writing recordings.
#include "fettle/link/recording.h"

#include <fcntl.h>
#include <fmt/format.h>
#include <unistd.h>

#include <cerrno>
#include <cstring>
#include <map>
#include <optional>

#include "fettle/link/doip.h"
#include "fettle/link/ethernet.h"
#include "fettle/link/pcapng.h"

namespace fettle::link {

namespace {

constexpr std::size_t longest_segment = 1400;

class File : public FileRecorder {
public:
    File(std::string path, std::function<std::int64_t()> now_us) : path_(std::move(path)), now_us_(std::move(now_us)) {}
    ~File() override {
        if (fd_ >= 0) ::close(fd_);
    }
    const std::string& failed() const override { return failed_; }

    // With the first packet, so that a call that never came to ask leaves no file.
    void begin() {
        fd_ = ::open(path_.c_str(), O_WRONLY | O_CREAT | O_EXCL | O_APPEND | O_CLOEXEC, 0600);
        if (fd_ < 0) {
            failed_ = std::strerror(errno);
            return;
        }
        put(pcapng::section_header(
            "recorded by the tester; hosts and data are those of the exchange, hardware addresses "
            "are made up, the entity's port is written as 13400"));
    }
    void opened(const void* line, const Endpoint& here, const Endpoint& there) override {
        Flow& f = flows_[line];
        f = {here, {there.host, doip::port}, 1000, 5000};
        segment(f, true, 0x02, {});  // the handshake, so that readers follow the stream from its start
        segment(f, false, 0x12, {});
        segment(f, true, 0x10, {});
    }
    void tcp(const void* line, bool sent, ByteView bytes) override {
        const auto flow = flows_.find(line);
        if (flow == flows_.end()) return;
        for (; !bytes.empty(); bytes = bytes.subspan(std::min(bytes.size(), longest_segment)))
            segment(flow->second, sent, 0x18, bytes.first(std::min(bytes.size(), longest_segment)));
    }
    void udp(bool sent, const Endpoint& here, const Endpoint& there, ByteView datagram) override {
        const Endpoint box{there.host, doip::port};
        Segment s{sent ? here : box, sent ? box : here, false};
        if (s.from.host == "0.0.0.0" || s.from.host == "::") s.from.host = there.host;  // not bound to one address
        if (s.to.host == "0.0.0.0" || s.to.host == "::") s.to.host = there.host;
        packet(pcapng::ethernet, ethernet_frame(s, datagram));
    }
    void can(bool, const CanFrame& frame) override { packet(pcapng::socketcan, encode(frame)); }

private:
    struct Flow {
        Endpoint here, there;
        std::uint32_t mine = 0, theirs = 0;
    };
    void segment(Flow& f, bool sent, Byte flags, ByteView data) {
        Segment s{sent ? f.here : f.there, sent ? f.there : f.here};
        s.flags = flags;
        s.sequence = sent ? f.mine : f.theirs;
        s.acknowledged = (flags & 0x10) != 0 ? (sent ? f.theirs : f.mine) : 0;
        (sent ? f.mine : f.theirs) += static_cast<std::uint32_t>(data.size()) + ((flags & 0x02) != 0 ? 1 : 0);
        packet(pcapng::ethernet, ethernet_frame(s, data));
    }
    void packet(std::uint16_t link_type, const Bytes& data) {
        if (fd_ < 0 && failed_.empty()) begin();
        auto& which = link_type == pcapng::ethernet ? ethernet_ : can_;
        Bytes out;
        if (!which) {
            which = interfaces_++;
            out = pcapng::interface(link_type, link_type == pcapng::ethernet ? "doip" : "can", "");
        }
        append(out, pcapng::packet(*which, now_us_(), data));
        put(out);
    }
    void put(const Bytes& b) {
        if (!failed_.empty()) return;
        const auto n = ::write(fd_, b.data(), b.size());  // in one piece: a kill cannot tear it
        if (n == static_cast<ssize_t>(b.size())) return;
        failed_ = n < 0 ? std::strerror(errno) : "the disk is full";
    }

    std::string path_;
    int fd_ = -1;
    std::function<std::int64_t()> now_us_;
    std::map<const void*, Flow> flows_;
    std::optional<std::uint32_t> ethernet_, can_;
    std::uint32_t interfaces_ = 0;
    std::string failed_;
};

}  // namespace

Result<std::shared_ptr<FileRecorder>> FileRecorder::create(const std::string& path,
                                                           std::function<std::int64_t()> now_us) {
    const auto no = [&](int error) {
        return outside_error("recording-not-written", path, std::strerror(error),
                             error == EEXIST ? "give another name: a recording is never written over"
                                             : "check the folder and its free space");
    };
    if (::access(path.c_str(), F_OK) == 0) return no(EEXIST);
    const auto slash = path.rfind('/');
    const std::string folder = slash == std::string::npos ? "." : path.substr(0, slash + 1);
    if (::access(folder.c_str(), W_OK) != 0) return no(errno);
    return std::shared_ptr<FileRecorder>(std::make_shared<File>(path, std::move(now_us)));
}

}  // namespace fettle::link
