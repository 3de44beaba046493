"""HTTP for gateways: tokens, uploads, ranking, probes, and the uploader."""
