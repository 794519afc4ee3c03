#include "fettle/link/can_port.h"

#include <arpa/inet.h>
#include <fmt/format.h>
#include <linux/can.h>
#include <linux/can/raw.h>
#include <net/if.h>
#include <sys/ioctl.h>
#include <sys/socket.h>
#include <unistd.h>

#include <array>
#include <cerrno>
#include <cstring>

namespace fettle::link {

namespace {

// Both kinds are sockets that give one whole frame for each read.
class SocketPort : public CanPort {
public:
    SocketPort(Loop& loop, int fd, bool loopback, CanId wanted)
        : socket_(loop, fd, [this] { read(); }), loopback_(loopback), wanted_(wanted) {}
    Put put(const CanFrame& frame) override {
        if (socket_.fd() < 0) return Put::gone;
        const Bytes bytes = to_wire(frame);
        const auto n = ::write(socket_.fd(), bytes.data(), bytes.size());
        if (n == static_cast<ssize_t>(bytes.size())) return Put::done;
        // A refused datagram tells of an earlier one that nobody took: the bus is there, only nobody listens yet.
        return errno == EAGAIN || errno == ENOBUFS || errno == ECONNREFUSED || errno == EINTR ? Put::full : Put::gone;
    }
    void listen(std::function<void(const CanFrame&)> frames, std::function<void(std::string)> gone) override {
        frames_ = std::move(frames);
        gone_ = std::move(gone);
    }
    void close() override { socket_.close(); }
    bool loopback() const override { return loopback_; }

protected:
    virtual Bytes to_wire(const CanFrame& f) const = 0;
    virtual std::optional<CanFrame> from_wire(ByteView b) const = 0;

private:
    void read() {
        std::array<Byte, 128> buffer;
        for (int i = 0; i < 1000 && socket_.fd() >= 0;
             ++i) {  // a flooded bus must not keep timers from being looked at
            const auto n = ::read(socket_.fd(), buffer.data(), buffer.size());
            if (n < 0 && (errno == EAGAIN || errno == EINTR)) return;
            if (n < 0 && errno == ECONNREFUSED) continue;
            if (n < 0) return gone_ ? gone_(fmt::format("the bus is gone: {}", std::strerror(errno))) : void();
            const auto frame = from_wire(ByteView(buffer).first(static_cast<std::size_t>(n)));
            if (frame && frame->id == wanted_ && frames_) frames_(*frame);
        }
    }

    Watch socket_;
    bool loopback_;
    CanId wanted_;
    std::function<void(const CanFrame&)> frames_;
    std::function<void(std::string)> gone_;
};

class LoopbackPort : public SocketPort {
    using SocketPort::SocketPort;
    Bytes to_wire(const CanFrame& f) const override { return encode(f); }
    std::optional<CanFrame> from_wire(ByteView b) const override { return decode_frame(b); }
};

class KernelPort : public SocketPort {
    using SocketPort::SocketPort;
    Bytes to_wire(const CanFrame& f) const override {
        canfd_frame k{};
        k.can_id = f.id.number | (f.id.extended ? CAN_EFF_FLAG : 0u);
        k.len = f.size;
        k.flags = f.bit_rate_switch ? CANFD_BRS : 0;
        std::copy(f.data.begin(), f.data.begin() + f.size, k.data);
        Bytes out(f.fd ? CANFD_MTU : CAN_MTU);
        std::memcpy(out.data(), &k, out.size());  // the first 16 bytes of both are the same
        return out;
    }
    std::optional<CanFrame> from_wire(ByteView b) const override {
        if (b.size() != CAN_MTU && b.size() != CANFD_MTU) return std::nullopt;
        canfd_frame k{};
        std::memcpy(&k, b.data(), b.size());
        if ((k.can_id & (CAN_RTR_FLAG | CAN_ERR_FLAG)) != 0 || k.len > (b.size() == CAN_MTU ? 8 : 64))
            return std::nullopt;
        CanFrame f;
        f.id = {k.can_id & CAN_EFF_MASK, (k.can_id & CAN_EFF_FLAG) != 0};
        f.fd = b.size() == CANFD_MTU;
        f.bit_rate_switch = f.fd && (k.flags & CANFD_BRS) != 0;
        f.size = k.len;
        std::copy(k.data, k.data + k.len, f.data.begin());
        return f;
    }
};

auto not_there(const BoxAddress& at, const std::string& what, int error) {
    const bool no_can = error == EAFNOSUPPORT || error == EPROTONOSUPPORT;
    return outside_error(
        "link-not-reachable", text_of(at),
        no_can ? std::string("this machine's kernel has no CAN") : fmt::format("{}: {}", what, std::strerror(error)),
        no_can ? "use a machine with SocketCAN, or a DoIP address"
               : "check the adapter's cable and that its interface is up (ip link)");
}

}  // namespace

Result<std::shared_ptr<CanPort>> open_can_port(const BoxAddress& at, Loop& loop) {
    const CanAddress& can = *at.can;
    if (can.interface.empty()) {
        in_addr host{};
        const std::string text = at.at.host == "localhost" ? "127.0.0.1" : at.at.host;
        if (::inet_pton(AF_INET, text.c_str(), &host) != 1 || ntohl(host.s_addr) >> 24 != 127)
            return usage_error("bad-address", text_of(at), "a bus by host and port is on this machine only",
                               "write can://127.0.0.1:PORT/…, or name an interface: can://can0/…");
        const int fd = ::socket(AF_INET, SOCK_DGRAM | SOCK_CLOEXEC, 0);
        sockaddr_in to{};
        to.sin_family = AF_INET;
        to.sin_port = htons(at.at.port);
        to.sin_addr = host;
        if (fd < 0 || ::connect(fd, reinterpret_cast<sockaddr*>(&to), sizeof to) != 0) {
            const int error = errno;
            if (fd >= 0) ::close(fd);
            return not_there(at, "no socket", error);
        }
        return std::shared_ptr<CanPort>(std::make_shared<LoopbackPort>(loop, fd, true, can.answer));
    }
    const int fd = ::socket(AF_CAN, SOCK_RAW | SOCK_CLOEXEC, CAN_RAW);
    if (fd < 0) return not_there(at, "no CAN socket", errno);
    const auto fail = [&](const std::string& what) {
        const int error = errno;
        ::close(fd);
        return not_there(at, what, error);
    };
    sockaddr_can to{};
    to.can_family = AF_CAN;
    to.can_ifindex = static_cast<int>(::if_nametoindex(can.interface.c_str()));
    if (to.can_ifindex == 0) return fail("no interface " + can.interface);
    const can_filter wanted{can.answer.number | (can.answer.extended ? CAN_EFF_FLAG : 0u),
                            (can.answer.extended ? CAN_EFF_MASK : CAN_SFF_MASK) | CAN_EFF_FLAG | CAN_RTR_FLAG};
    const int on = 1;
    if (::setsockopt(fd, SOL_CAN_RAW, CAN_RAW_FILTER, &wanted, sizeof wanted) != 0) return fail("no filter");
    if (can.fd && ::setsockopt(fd, SOL_CAN_RAW, CAN_RAW_FD_FRAMES, &on, sizeof on) != 0) return fail("no CAN FD");
    if (::bind(fd, reinterpret_cast<sockaddr*>(&to), sizeof to) != 0) return fail("interface " + can.interface);
    // Never "on this machine": what a bus is joined to cannot be seen from here, not even a virtual one's.
    return std::shared_ptr<CanPort>(std::make_shared<KernelPort>(loop, fd, false, can.answer));
}

}  // namespace fettle::link
