"""The office: the door for what goes beyond one build. It joins builds, the shop's rows and large studies."""
