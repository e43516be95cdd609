# Builds the program with the sound card in it and puts it on a small Debian.
FROM golang:1.26-bookworm AS build
RUN apt-get update && apt-get install -y --no-install-recommends portaudio19-dev pkg-config && rm -rf /var/lib/apt/lists/*
WORKDIR /src
COPY go.mod go.sum ./
RUN go mod download
COPY . .
RUN go build -tags portaudio -trimpath -ldflags="-s -w" -o /pulsewright .

FROM debian:bookworm-slim
RUN apt-get update && apt-get install -y --no-install-recommends libportaudio2 && rm -rf /var/lib/apt/lists/* \
 && useradd --create-home --groups dialout,audio maker && install -d -o maker -g maker /home/maker/recordings
COPY --from=build /pulsewright /usr/local/bin/pulsewright
USER maker
VOLUME /home/maker/recordings
# Inside a container loopback is the container's own: publish the port on the
# host's loopback only, as in
#   docker run -it -p 127.0.0.1:8147:8147 --device /dev/ttyACM0 …
# and open the owner's link, with 127.0.0.1:8147 for its address; it stands in a file:
#   docker exec NAME cat /home/maker/recordings/owner-link.txt
EXPOSE 8147
ENTRYPOINT ["pulsewright", "serve", "-listen", "0.0.0.0:8147", "-data", "/home/maker/recordings"]
