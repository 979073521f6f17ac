# The server as one static file with the web app inside, run by nobody in
# particular, with nothing else in the image.
#
#   docker build -t brimline .
#   docker run -p 8080:8080 -v brimline:/data brimline

FROM golang:1.26 AS trunk
WORKDIR /src
COPY go.mod go.sum ./
RUN go mod download
COPY . .
RUN GOOS=js GOARCH=wasm CGO_ENABLED=0 go build -trimpath -ldflags='-s -w' -gcflags=all=-l -gcflags=brimline/schema/physics= -o pwa/src/core/brimline.wasm ./pwa/wasm
RUN cp "$(go env GOROOT)/lib/wasm/wasm_exec.js" pwa/src/core/wasm_exec.js

FROM node:20 AS app
WORKDIR /src/pwa
COPY pwa/package.json pwa/package-lock.json pwa/.npmrc ./
RUN npm ci --no-audit --no-fund
COPY pwa ./
COPY --from=trunk /src/pwa/src/core/brimline.wasm /src/pwa/src/core/wasm_exec.js ./src/core/
RUN npm run build

FROM trunk AS server
COPY --from=app /src/pwa/dist/app ./pwa/dist/app
RUN CGO_ENABLED=0 go build -trimpath -ldflags='-s -w' -o /out/brimline ./server
RUN mkdir -p /out/data /out/tmp && chmod 1777 /out/tmp

FROM scratch
COPY --from=server /etc/ssl/certs/ca-certificates.crt /etc/ssl/certs/
COPY --from=server /out/brimline /brimline
COPY --from=server --chown=10001:10001 /out/data /data
COPY --from=server --chown=10001:10001 /out/tmp /tmp
USER 10001:10001
ENV BRIMLINE_DATA=/data BRIMLINE_ADDR=:8080
VOLUME /data
EXPOSE 8080
ENTRYPOINT ["/brimline"]
CMD ["serve"]
